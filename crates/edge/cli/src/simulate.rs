//! `corymb simulate`: an invented orchard, and what cameras would see of it.

use crate::args::SimulateArgs;
use crate::exit::{Exit, Failure};
use crate::{interrupt, talk};
use corymb_formats::{Packing, read_toml, write_run, write_truth};
use corymb_simulate::{SceneSpec, Simulated};
use std::path::Path;

/// File with the truth, beside the run.
const TRUTH: &str = "truth.json";

/// Simulates a scene.
///
/// # Errors
/// A scene that does not exist or cannot be, or the disk.
pub(crate) fn simulate(args: &SimulateArgs) -> Result<Exit, Failure> {
    let spec = scene(&args.scene)?;
    let simulated =
        corymb_simulate::simulate(&spec, args.seed).map_err(|source| Failure::Scene {
            scene: args.scene.clone(),
            source,
        })?;
    {
        let _interrupts_wait = interrupt::begin_writing();
        write_run(&args.out, &simulated.run, Packing::Gzip)?;
        write_truth(&args.out.join(TRUTH), &simulated.truth)?;
    }
    talk::say(&account(&simulated, &args.out))?;
    Ok(Exit::Done)
}

fn scene(name: &str) -> Result<SceneSpec, Failure> {
    let path = Path::new(name);
    if path.extension().is_some_and(|e| e == "toml") {
        return Ok(read_toml(path)?.value);
    }
    SceneSpec::named(name).ok_or_else(|| Failure::UnknownScene {
        name: name.to_owned(),
        known: SceneSpec::NAMES.to_vec(),
    })
}

fn account(simulated: &Simulated, out: &Path) -> String {
    let run = &simulated.run;
    format!(
        "{}: {} images, {} boxes, {} true bodies; all invented\nWritten to {}: the run folder and {TRUTH}\n",
        run.name,
        run.frames.len(),
        run.frames.iter().map(|f| f.detections.len()).sum::<usize>(),
        simulated.truth.fruitlets.len(),
        out.display(),
    )
}
