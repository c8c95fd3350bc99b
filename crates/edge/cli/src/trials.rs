//! `corymb trials`: what a machine did in the field.

use crate::args::TrialsArgs;
use crate::exit::{Exit, Failure};
use crate::talk;
use corymb_formats::{Problems, read_order_chances, read_trials};
use corymb_score::trials::{summarise, text};

/// Summarises trials.
///
/// # Errors
/// The problems of both files.
pub(crate) fn trials(args: &TrialsArgs) -> Result<Exit, Failure> {
    let trials = read_trials(&args.trials);
    let chances = args.orders.as_deref().map(read_order_chances).transpose();
    let (trials, chances) = match (trials, chances) {
        (Ok(trials), Ok(chances)) => (trials.value, chances.map(|c| c.value)),
        (trials, chances) => {
            let both = [trials.err(), chances.err()].into_iter().flatten();
            let mut problems = Problems::default();
            for more in both {
                problems.list.extend(more.list);
                problems.cut_short.extend(more.cut_short);
            }
            return Err(problems.into());
        }
    };
    let summary = summarise(&trials, chances.as_deref());
    if args.json {
        talk::say(&(serde_json::to_string_pretty(&summary)? + "\n"))?;
    } else {
        talk::say(&text(&summary))?;
    }
    Ok(Exit::Done)
}
