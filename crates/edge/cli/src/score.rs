//! `corymb score`: an output folder against truth.

use crate::args::ScoreArgs;
use crate::exit::{Exit, Failure};
use crate::inputs::Inputs;
use crate::{figures, scores_file, talk};
use corymb_formats::{OutputFolder, Problems, read_output, read_true_orchard, read_truth};
use corymb_model::orders::TaskList;
use corymb_score::{ScoreInput, render_table};

/// Scores an output.
///
/// # Errors
/// Files with problems, or an output that was made from other inputs.
pub(crate) fn score(args: &ScoreArgs) -> Result<Exit, Failure> {
    let inputs = Inputs::read(&args.run, &args.plan)?;
    let loaded = read_truth(&args.truth, &inputs.run)?;
    let truth = loaded.value;
    let true_orchard = args.true_orchard.as_deref().map(read_true_orchard);
    let true_orchard = true_orchard.transpose()?.map(|loaded| loaded.value);
    let output = read_output(&args.out, &inputs.run, inputs.arm.as_ref())?;
    let stale = output.stale_inputs(&inputs.sha256);
    if !stale.is_empty() {
        return Err(Problems {
            list: stale,
            cut_short: Vec::new(),
        }
        .into());
    }
    let tasks = tasks(&output);
    let input = ScoreInput {
        run: &inputs.run,
        truth: &truth,
        map: Some(&output.map),
        decisions: output.decisions.as_ref(),
        tasks: tasks.as_ref(),
        policy: inputs.policy.as_ref(),
        setup: inputs.arm.as_ref(),
        true_orchard: true_orchard.as_ref(),
    };
    let scores = corymb_score::score(&input);
    if let Some(dir) = &args.figures {
        figures::write(dir, &input, output.calibration.as_ref(), &scores)?;
    }
    if let Some(dir) = &args.files {
        let mut sha256 = inputs.sha256.clone();
        sha256.insert(loaded.file_name.clone(), loaded.sha256);
        scores_file::write(dir, &inputs.run.name, (sha256, loaded.file_name), &scores)?;
    }
    let text = if args.json {
        serde_json::to_string_pretty(&scores)? + "\n"
    } else {
        render_table(&scores)
    };
    talk::say(&text)?;
    Ok(Exit::Done)
}

fn tasks(output: &OutputFolder) -> Option<TaskList> {
    Some(TaskList {
        orders: output.orders.clone()?,
        refusals: output.refusals.clone().unwrap_or_default(),
        ..TaskList::default()
    })
}
