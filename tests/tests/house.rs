//! The house rules: DEVELOPERS.md against the workspace, the direction of the arrows, sizes, layout.
#![allow(clippy::unwrap_used, clippy::panic)] // a helper of a test may fail as the test does

use corymb_tests::house::{Member, map, members, read, rust_files};
use corymb_tests::source::{code_only, functions};
use corymb_tests::workspace;
use std::collections::BTreeSet;

/// Files past 600 lines, with their present length and the reason. They may shrink, never grow; a file that
/// fits again must leave the list.
const LONG_FILES: [(&str, usize, &str); 0] = [];
const LONGEST_FILE: usize = 600;
const MEDIAN_FILE: usize = 180;
const P90_FUNCTION: usize = 35;
const P99_FUNCTION: usize = 70;

/// What core and stages must not reach for: files, clocks, processes, the console, chance.
const OUTSIDE_WORLD: [&str; 11] = [
    "std::fs",
    "std::env",
    "std::net",
    "std::process",
    "std::io",
    "std::time",
    "Instant::now",
    "SystemTime",
    "println!",
    "rand::",
    "thread_rng",
];
const OUTSIDE_CRATES: [&str; 12] = [
    "clap",
    "ctrlc",
    "flate2",
    "indicatif",
    "log",
    "rand",
    "rand_chacha",
    "rand_distr",
    "tempfile",
    "toml",
    "tracing",
    "zstd",
];

/// Which floor of the house a member is on: arrows point to a lower floor only.
fn floor(member: &Member) -> u8 {
    match member.folder.as_str() {
        "crates/core/model" => 0,
        "crates/core/geometry" => 1,
        "crates/stages/job" => 3,
        "crates/lab/study" => 5,
        "crates/edge/cli" => 6,
        "tests" | "benches" | "examples" => 7,
        f if f.starts_with("crates/stages/") => 2,
        f if f.starts_with("crates/edge/") || f.starts_with("crates/lab/") => 4,
        other => panic!("{other} has no floor in the house"),
    }
}

fn all() -> Vec<Member> {
    let found = members().unwrap();
    assert!(found.len() >= 15, "only {} members found", found.len());
    found
}

#[test]
fn the_map_lists_every_member_and_every_member_is_on_the_map() {
    let map = map().unwrap();
    let listed: BTreeSet<(String, String)> = map
        .iter()
        .map(|(name, row)| (name.clone(), row.folder.clone()))
        .collect();
    let present: BTreeSet<(String, String)> =
        all().into_iter().map(|m| (m.name, m.folder)).collect();
    assert_eq!(listed, present, "map (left) against workspace (right)");
    for (name, row) in &map {
        assert!(
            row.invariants.iter().all(|cell| cell.len() > 3),
            "{name}: every crate states what it consumes, produces and must never know"
        );
    }
}

#[test]
fn dependencies_are_those_of_the_map() {
    let map = map().unwrap();
    for member in all() {
        let ours: BTreeSet<String> = member
            .dependencies
            .iter()
            .filter(|d| d.starts_with("corymb-"))
            .cloned()
            .collect();
        let allowed = &map[&member.name].may_depend_on;
        let beyond: Vec<_> = ours.difference(allowed).collect();
        assert!(
            beyond.is_empty(),
            "{}: not on the map: {beyond:?}",
            member.name
        );
    }
}

#[test]
fn arrows_point_down_the_house() {
    let all = all();
    let find = |name: &str| all.iter().find(|m| m.name == name);
    for (name, row) in map().unwrap() {
        let from = find(&name).unwrap();
        for target in &row.may_depend_on {
            let to = find(target).unwrap_or_else(|| panic!("{name}: no member {target}"));
            assert!(
                floor(to) < floor(from),
                "{name} (floor {}) may not depend on {target} (floor {})",
                floor(from),
                floor(to)
            );
        }
    }
}

#[test]
fn only_job_knows_several_stages_and_nobody_but_score_and_the_edge_knows_truth() {
    for member in all().iter().filter(|m| floor(m) <= 3) {
        for (path, text) in rust_files(&format!("{}/src", member.folder)).unwrap() {
            let knows_truth = code_only(&text).contains("truth::");
            assert!(!knows_truth, "{path}: truth is not for stages");
        }
    }
    let simulate = all().into_iter().find(|m| m.name == "corymb-simulate");
    assert!(
        !simulate.unwrap().dependencies.contains("corymb-geometry"),
        "the simulator checks the estimator's geometry, so it must not share it"
    );
}

#[test]
fn core_and_stages_reach_for_nothing_outside() {
    for member in all().iter().filter(|m| floor(m) <= 3) {
        for crate_name in OUTSIDE_CRATES {
            assert!(
                !member.dependencies.contains(crate_name),
                "{} may not depend on {crate_name}",
                member.name
            );
        }
        for (path, text) in rust_files(&format!("{}/src", member.folder)).unwrap() {
            let code = code_only(&text);
            let hits: Vec<_> = OUTSIDE_WORLD
                .iter()
                .filter(|w| code.contains(**w))
                .collect();
            assert!(hits.is_empty(), "{path} reaches for {hits:?}");
        }
    }
}

#[test]
fn every_member_inherits_the_lints_and_uses_what_it_depends_on() {
    for member in all() {
        assert!(
            member.inherits_lints,
            "{}: [lints] workspace = true",
            member.name
        );
        let code: String = rust_files(&member.folder)
            .unwrap()
            .into_iter()
            .map(|(_, text)| code_only(&text))
            .collect();
        for dependency in &member.dependencies {
            let word = dependency.replace('-', "_");
            assert!(
                code.contains(&word),
                "{}: {dependency} is not used",
                member.name
            );
        }
    }
}

#[test]
fn files_are_short_and_hold_one_idea() {
    let mut lengths = Vec::new();
    for (path, text) in all().iter().flat_map(|m| rust_files(&m.folder).unwrap()) {
        let lines = text.lines().count();
        lengths.push(lines);
        match LONG_FILES.iter().find(|(long, ..)| *long == path) {
            Some((_, allowed, _)) => {
                assert!(
                    lines <= *allowed,
                    "{path}: {lines} lines, {allowed} allowed"
                );
                assert!(
                    lines > LONGEST_FILE,
                    "{path} fits again: take it off the list"
                );
            }
            None => assert!(
                lines <= LONGEST_FILE,
                "{path}: {lines} lines, {LONGEST_FILE} allowed"
            ),
        }
    }
    lengths.sort_unstable();
    let median = lengths[lengths.len() / 2];
    assert!(median < MEDIAN_FILE, "median file: {median} lines");
}

#[test]
fn functions_are_short() {
    let mut sizes = Vec::new();
    for (path, text) in all().iter().flat_map(|m| rust_files(&m.folder).unwrap()) {
        sizes.extend(
            functions(&text)
                .into_iter()
                .map(|f| (f.lines, format!("{path}:{} {}", f.line, f.name))),
        );
    }
    sizes.sort_unstable();
    assert!(sizes.len() > 100, "only {} functions found", sizes.len());
    let at = |share: usize| &sizes[(sizes.len() * share / 100).min(sizes.len() - 1)];
    let longest = &sizes[sizes.len().saturating_sub(12)..];
    assert!(
        at(90).0 < P90_FUNCTION,
        "p90: {:?}; longest: {longest:#?}",
        at(90)
    );
    assert!(
        at(99).0 < P99_FUNCTION,
        "p99: {:?}; longest: {longest:#?}",
        at(99)
    );
}

#[test]
fn the_top_folder_holds_what_the_layout_lists() {
    let ignored: BTreeSet<String> = read(&workspace().join(".gitignore"))
        .unwrap()
        .lines()
        .filter_map(|l| l.strip_prefix('/').map(str::to_owned))
        .collect();
    let layout = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE-MIT",
        "LICENSE-APACHE",
        "crates",
        "fixtures",
        "tests",
        "benches",
        "examples",
    ];
    let present: BTreeSet<String> = workspace()
        .read_dir()
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && !ignored.contains(name))
        .collect();
    let wanted: BTreeSet<String> = layout.iter().map(|s| (*s).to_owned()).collect();
    assert_eq!(present, wanted, "top folder (left) against layout (right)");
}
