//! Makes the demonstration run: an invented row of two short trees, seen by two cameras on a mast.
//!
//! `cargo run --release -p corymb-examples --example make_demo -- fixtures/two_trees` writes the run folder and its
//! truth; the policy and the arm beside them are written by hand. The same program writes the same bytes again.

use corymb_formats::{Packing, write_run, write_truth};
use corymb_simulate::{SceneSpec, simulate};
use std::error::Error;
use std::path::PathBuf;

/// Any number does; another one grows another two trees.
const SEED: u64 = 20;

fn main() -> Result<(), Box<dyn Error>> {
    let dir = std::env::args_os()
        .nth(1)
        .map_or_else(|| PathBuf::from("two_trees"), PathBuf::from);
    let simulated = simulate(&SceneSpec::two_trees(), SEED)?;
    write_run(&dir, &simulated.run, Packing::Gzip)?;
    let mut truth = simulated.truth;
    truth.boxes.clear(); // they would make the file six times as large; `corymb simulate` states them
    write_truth(&dir.join("truth.json.gz"), &truth)?;
    Ok(())
}
