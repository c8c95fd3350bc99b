//! Scenes changed from the command line, and studies.

use super::{desk, files, read, typed, workspace};

fn fixture(path: &str) -> String {
    workspace()
        .join("fixtures")
        .join(path)
        .display()
        .to_string()
}

#[test]
fn a_printed_scene_is_the_scene_and_overrides_reach_it() {
    let desk = desk();
    let printed = typed(desk.path(), "corymb simulate two_trees --print");
    assert_eq!(printed.code, Some(0), "{printed:?}");
    std::fs::write(desk.path().join("mine.toml"), &printed.stdout).unwrap();
    let again = typed(desk.path(), "corymb simulate mine.toml --print");
    assert_eq!(again.stdout, printed.stdout);
    let changed = typed(
        desk.path(),
        &format!(
            "corymb simulate mine.toml --print --rig {} --set leaves.per_cluster=7",
            fixture("rigs/single.toml")
        ),
    );
    assert!(changed.stdout.contains("per_cluster = 7.0"), "{changed:?}");
    assert_eq!(changed.stdout.matches("[[cameras]]").count(), 1);
}

#[test]
fn fields_that_are_not_there_are_named_all_at_once_with_near_names() {
    let desk = desk();
    let line = "corymb simulate two_trees --seed 1 --out out --set leaves.per_clutter=7 --set edge_white_px=1";
    let said = typed(desk.path(), line);
    assert_eq!(said.code, Some(2), "{said:?}");
    for told in ["leaves.per_cluster?", "detector.edge_white_px?"] {
        assert!(said.stderr.contains(told), "{said:?}");
    }
    assert!(!desk.path().join("out").exists());
}

#[test]
fn a_sweep_writes_the_same_files_on_any_number_of_threads() {
    let desk = desk();
    let study = fixture("studies/tiny.toml");
    for threads in [1, 2] {
        let line = format!("corymb sweep {study} --out out{threads} --threads {threads}");
        let said = typed(desk.path(), &line);
        assert_eq!(said.code, Some(0), "{said:?}");
        assert!(said.stdout.contains("axes_missing"), "{said:?}");
    }
    let found = files(&desk.path().join("out1")).unwrap();
    let names: Vec<&str> = found.keys().map(String::as_str).collect();
    assert_eq!(names, ["rows.csv", "table.csv", "table.md"]);
    assert_eq!(found, files(&desk.path().join("out2")).unwrap());
}

#[test]
fn a_bad_study_is_told_with_codes_and_nothing_is_written() {
    let desk = desk();
    let text = read(&workspace().join("fixtures/studies/tiny.toml")).unwrap();
    let text = text
        .replace("two_trees", "two_tree")
        .replace("fusion.rounds", "fusion.round");
    std::fs::write(desk.path().join("bad.toml"), text).unwrap();
    let said = typed(desk.path(), "corymb sweep bad.toml --out out");
    assert_eq!(said.code, Some(2), "{said:?}");
    for told in [
        "[value-unknown] bad.toml, scene[0].kind",
        "[field-unknown] bad.toml, vary_settings.fusion.round",
        "fusion.rounds",
    ] {
        assert!(said.stderr.contains(told), "{told}: {said:?}");
    }
    assert!(!desk.path().join("out").exists());
}
