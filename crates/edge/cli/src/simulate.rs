//! `corymb simulate`: an invented orchard, and what cameras would see of it.

use crate::args::SimulateArgs;
use crate::exit::{Exit, Failure};
use crate::{interrupt, scenes, talk};
use corymb_formats::{Packing, write_run, write_truth};
use corymb_simulate::Simulated;
use std::path::Path;

/// File with the truth, beside the run.
const TRUTH: &str = "truth.json";

/// Simulates a scene.
///
/// # Errors
/// A scene that does not exist or cannot be, or the disk.
pub(crate) fn simulate(args: &SimulateArgs) -> Result<Exit, Failure> {
    let spec = scenes::asked_for(args)?;
    let refused = |source| Failure::Scene {
        scene: args.scene.clone(),
        source,
    };
    let (Some(seed), Some(out)) = (args.seed, &args.out) else {
        corymb_simulate::spec::check(&spec).map_err(refused)?;
        talk::say(&scenes::as_toml(&spec)?)?;
        return Ok(Exit::Done);
    };
    let simulated = corymb_simulate::simulate(&spec, seed).map_err(refused)?;
    {
        let _interrupts_wait = interrupt::begin_writing();
        write_run(out, &simulated.run, Packing::Gzip)?;
        write_truth(&out.join(TRUTH), &simulated.truth)?;
    }
    talk::say(&account(&simulated, out))?;
    Ok(Exit::Done)
}

fn account(simulated: &Simulated, out: &Path) -> String {
    let run = &simulated.run;
    format!(
        "{}: {} images, {} boxes, {} true bodies, {:.0} % of their area in view hidden; all invented\nWritten to {}: the run folder and {TRUTH}\n",
        run.name,
        run.frames.len(),
        run.frames.iter().map(|f| f.detections.len()).sum::<usize>(),
        simulated.truth.fruitlets.len(),
        100.0 * simulated.true_scene.hidden_share,
        out.display(),
    )
}
