//! Bad inputs, one thing wrong in each, and exactly what is told about it: the code, the file, the line, the field.
#![allow(clippy::unwrap_used, clippy::panic)] // a helper of a test may fail as the test does

#[path = "bad_inputs/folder.rs"]
mod folder;

#[path = "bad_inputs/bytes.rs"]
mod bytes;
#[path = "bad_inputs/grower_and_arm.rs"]
mod grower_and_arm;
#[path = "bad_inputs/outputs.rs"]
mod outputs;
#[path = "bad_inputs/runs.rs"]
mod runs;
#[path = "bad_inputs/trials.rs"]
mod trials;
#[path = "bad_inputs/truths.rs"]
mod truths;

use corymb_formats::{Problem, all_codes};
use folder::{BadFolder, Reader};
use std::collections::BTreeSet;

/// A bad input.
pub(crate) struct Case {
    /// What is wrong.
    name: &'static str,
    reader: Reader,
    /// Code and place (`file:line field`) of each problem told, in order.
    told: &'static [(&'static str, &'static str)],
    /// Makes the sound files bad.
    spoil: fn(&mut BadFolder),
}

/// A case with one problem.
macro_rules! case {
    ($name:literal, $reader:ident, $code:literal at $place:literal, $spoil:expr) => {
        $crate::case!($name, $reader, [($code, $place)], $spoil)
    };
    ($name:literal, $reader:ident, $told:expr, $spoil:expr) => {
        $crate::Case {
            name: $name,
            reader: $crate::folder::Reader::$reader,
            told: &$told,
            spoil: $spoil,
        }
    };
}
pub(crate) use case;

fn cases() -> Vec<Case> {
    [
        bytes::cases(),
        runs::cases(),
        truths::cases(),
        grower_and_arm::cases(),
        outputs::cases(),
        trials::cases(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn place(problem: &Problem) -> String {
    let line = problem.line.map_or_else(String::new, |n| format!(":{n}"));
    let field = if problem.field.is_empty() {
        String::new()
    } else {
        format!(" {}", problem.field)
    };
    // the temporary folder's own path has no place in a table
    let file = problem.file.rsplit('/').next().unwrap_or_default();
    format!("{file}{line}{field}")
}

#[test]
fn the_sound_files_have_no_problem() {
    let readers = [
        Reader::Run,
        Reader::RunWarnings,
        Reader::RunTight,
        Reader::Policy,
        Reader::Arm,
        Reader::Truth,
        Reader::Output,
        Reader::Trials,
        Reader::Chances,
    ];
    for reader in readers {
        assert_eq!(BadFolder::sound().problems(reader), [], "{reader:?}");
    }
}

#[test]
fn every_bad_input_is_told_exactly() {
    let cases = cases();
    assert!(cases.len() >= 60, "only {} cases", cases.len());
    let mut wrong = Vec::new();
    for case in &cases {
        let mut folder = BadFolder::sound();
        (case.spoil)(&mut folder);
        let problems = folder.problems(case.reader);
        let told: Vec<(String, String)> = problems
            .iter()
            .map(|p| (p.code.id().to_owned(), place(p)))
            .collect();
        let expected: Vec<(String, String)> = case
            .told
            .iter()
            .map(|(c, p)| ((*c).to_owned(), (*p).to_owned()))
            .collect();
        if told != expected {
            let lines: Vec<String> = problems.iter().map(|p| format!("    {p}")).collect();
            wrong.push(format!(
                "{}:\n  expected {expected:?}\n  told     {told:?}\n{}",
                case.name,
                lines.join("\n")
            ));
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {} cases:\n{}",
        wrong.len(),
        cases.len(),
        wrong.join("\n")
    );
}

#[test]
fn names_of_cases_are_unique() {
    let names: BTreeSet<&str> = cases().iter().map(|c| c.name).collect();
    assert_eq!(names.len(), cases().len());
}

/// Codes of problems between scores, which `cli/compare.rs` produces through the program.
const BETWEEN_SCORES: [&str; 2] = ["nothing-in-common", "placement-differs"];

#[test]
fn every_code_of_the_table_is_produced() {
    let produced: BTreeSet<&str> = cases()
        .iter()
        .flat_map(|c| c.told.iter().map(|(code, _)| *code))
        .chain(BETWEEN_SCORES)
        .collect();
    let listed: BTreeSet<&str> = all_codes().iter().map(|c| c.id()).collect();
    assert!(!listed.is_empty());
    assert_eq!(produced, listed);
}
