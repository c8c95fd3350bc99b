//! Whole scenarios through the command line, on the shipped fixture and on invented scenes.
#![allow(clippy::unwrap_used, clippy::panic)] // a helper of a test may fail as the test does

use corymb_tests::house::read;
use corymb_tests::program::{Said, command, copy_folder, files, fixture};
use corymb_tests::workspace;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

#[path = "cli/compare.rs"]
mod compare;
#[path = "cli/determinism.rs"]
mod determinism;
#[path = "cli/figures.rs"]
mod figures;
#[path = "cli/interrupt.rs"]
mod interrupt;
#[path = "cli/lab.rs"]
mod lab;
#[path = "cli/labels.rs"]
mod labels;
#[path = "cli/pages.rs"]
mod pages;
#[path = "cli/reach.rs"]
mod reach;
#[path = "cli/refuse.rs"]
mod refuse;
#[path = "cli/second_scorer.rs"]
mod second_scorer;
#[path = "cli/trials.rs"]
mod trials;

/// Every file that a whole run writes.
const OUTPUTS: [&str; 7] = [
    "calibration.json",
    "decisions.json",
    "diagnostics.json",
    "map.json",
    "orders.jsonl",
    "refusals.jsonl",
    "summary.json",
];

fn program() -> &'static Path {
    Path::new(env!("CARGO_BIN_EXE_corymb-under-test"))
}

/// Runs a line as typed in `folder`.
fn typed(folder: &Path, line: &str) -> Said {
    command(program(), folder, line).output().unwrap().into()
}

/// A folder to work in that holds the fixtures as the checkout does.
fn desk() -> TempDir {
    let desk = TempDir::new().unwrap();
    copy_folder(&fixture(), &desk.path().join("fixtures/two_trees")).unwrap();
    let trials = workspace().join("fixtures/trials");
    copy_folder(&trials, &desk.path().join("fixtures/trials")).unwrap();
    desk
}

/// The whole job on the fixture.
const WHOLE: &str = "corymb run fixtures/two_trees --out out --policy fixtures/two_trees/policy.toml \
                     --arm fixtures/two_trees/arm.toml";

fn json(bytes: &[u8]) -> serde_json::Value {
    serde_json::from_slice(bytes).unwrap()
}

/// Output files without what may differ: the times, and (where told) the digests of the inputs.
fn comparable(folder: &Path, without_inputs: bool) -> BTreeMap<String, Vec<u8>> {
    let mut found = files(folder).unwrap();
    found.remove("summary.json").unwrap();
    if without_inputs {
        for (name, bytes) in &mut found {
            if name.ends_with(".json") {
                let mut value = json(bytes);
                value.as_object_mut().unwrap().remove("inputs").unwrap();
                *bytes = serde_json::to_vec(&value).unwrap();
            }
        }
    }
    found
}
