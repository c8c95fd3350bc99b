//! `corymb run`: the job, from files to files.

use crate::args::RunArgs;
use crate::exit::{Exit, Failure};
use crate::inputs::Inputs;
use crate::progress::{Progress, READ};
use crate::{publish, summary, talk};
use corymb_job::{JobConfig, JobOutput, run_job};

/// Runs the job.
///
/// # Errors
/// Wrong inputs, or a disk or terminal that cannot be written.
pub(crate) fn run(args: &RunArgs) -> Result<Exit, Failure> {
    let threads = usize::from(args.threads.unwrap_or(0)); // 0 = one a core
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()?;
    pool.install(|| map_decide_order(args))
}

fn map_decide_order(args: &RunArgs) -> Result<Exit, Failure> {
    let progress = Progress::new(args.progress);
    progress.begin(READ);
    let inputs = Inputs::read(&args.run, &args.plan)?;
    progress.end(READ, inputs.boxes());
    let config = JobConfig::default();
    let (policy, arm) = (inputs.policy.as_ref(), inputs.arm.as_ref());
    let output = run_job(&inputs.run, policy, arm, &config, &|event| {
        progress.hear(event);
    });
    let files = publish::publish(args, &inputs, &output, &config, &progress)?;
    drop(progress);
    tell_losses(&inputs, &output);
    talk::say(&summary::for_people(&inputs, &output, &args.out, &files))?;
    Ok(if output.scene.frames_left_out > 0 {
        Exit::Loss
    } else {
        Exit::Done
    })
}

fn tell_losses(inputs: &Inputs, output: &JobOutput) {
    let left_out = output.scene.frames_left_out;
    if left_out > 0 {
        let all = inputs.run.frames.len();
        talk::note(&format!(
            "note: {left_out} of {all} images have no usable pose and were left out"
        ));
    }
    for pin in output.decisions.iter().flat_map(|d| &d.pins_without_object) {
        talk::note(&format!(
            "note: nothing on the map is {}, which the policy pins",
            summary::pinned(&pin.what)
        ));
    }
}
