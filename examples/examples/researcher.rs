//! Two detectors on the same invented orchard, scored against its truth with intervals.
//!
//! `cargo run --release -p corymb-examples --example researcher`
#![allow(clippy::print_stdout)] // an example shows what it found

use corymb_job::{JobConfig, run_job};
use corymb_score::{ScoreInput, score};
use corymb_simulate::{SceneSpec, simulate};
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    println!("edge noise  found right of considered   clusters exact");
    for edge_white_px in [0.5, 2.0] {
        let mut scene = SceneSpec::two_trees();
        scene.detector.edge_white_px = edge_white_px;
        let made = simulate(&scene, 7)?;
        let out = run_job(&made.run, None, None, &JobConfig::default(), &|_| ());
        let scores = score(&ScoreInput {
            run: &made.run,
            truth: &made.truth,
            map: Some(&out.map),
            decisions: None,
            tasks: None,
            policy: None,
            setup: None,
            true_orchard: Some(&made.true_orchard),
        });
        let Some(placed) = scores.shift_removed.figures() else {
            return Err("nothing could be scored".into());
        };
        let (found, exact) = (&placed.fruitlets.recall, &placed.clusters.exact);
        println!(
            "{edge_white_px:>7} px  {:>4}/{} [{:.2}, {:.2}]   {:>4}/{} [{:.2}, {:.2}]",
            found.num,
            found.den,
            found.low.unwrap_or(f64::NAN),
            found.high.unwrap_or(f64::NAN),
            exact.num,
            exact.den,
            exact.low.unwrap_or(f64::NAN),
            exact.high.unwrap_or(f64::NAN),
        );
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #[test]
    fn it_runs_to_its_end() {
        super::main().unwrap();
    }
}
