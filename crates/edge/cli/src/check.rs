//! `corymb check`: everything is read, nothing is written.

use crate::args::CheckArgs;
use crate::exit::{Exit, Failure};
use crate::inputs::Inputs;
use crate::talk;
use corymb_formats::read_truth;

/// Reads all files.
///
/// # Errors
/// The problems of all of them together.
pub(crate) fn check(args: &CheckArgs) -> Result<Exit, Failure> {
    let inputs = Inputs::read(&args.run, &args.plan)?;
    let truth = args
        .truth
        .as_deref()
        .map(|path| read_truth(path, &inputs.run))
        .transpose()?;
    let mut text = format!(
        "{}: {} images of {} cameras, {} boxes, {} poses, {} trees\n",
        inputs.run.name,
        inputs.run.frames.len(),
        inputs.run.cameras.len(),
        inputs.boxes(),
        inputs.run.poses.len(),
        inputs.trees(),
    );
    if let Some(policy) = &inputs.policy {
        text += &format!("policy: {}\n", policy.name);
    }
    if let Some(arm) = &inputs.arm {
        text += &format!("arm: {}, {} tool(s)\n", arm.name, arm.tools.len());
    }
    if let Some(truth) = truth {
        text += &format!("truth: {} fruitlets\n", truth.value.fruitlets.len());
    }
    talk::say(&(text + "no problems found\n"))?;
    Ok(Exit::Done)
}
