//! Files appear whole or not at all.

use crate::samples::{Output, sound_arm, sound_run};
use corymb_formats::{Publication, WriteError};
use std::fs;
use std::path::Path;

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<_> = fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_folder_never_mixes_two_runs() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    let output = Output::sample();
    output.write(dir.path(), &run, &arm).unwrap();
    fs::write(dir.path().join("notes.txt"), "of the user").unwrap();
    let mut publication = Publication::output_folder(dir.path()).unwrap();
    publication.map(&output.header, &run, &output.map).unwrap();
    publication
        .summary(&output.header, &output.summary)
        .unwrap();
    publication.publish().unwrap();
    assert_eq!(names(dir.path()), ["map.json", "notes.txt", "summary.json"]);
}

#[test]
fn what_is_not_published_leaves_the_folder_as_it_was() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    let output = Output::sample();
    output.write(dir.path(), &run, &arm).unwrap();
    let before = fs::read(dir.path().join("map.json")).unwrap();
    let mut other = Output::sample();
    other.map.fruitlets[0].diameter_m = 0.020;
    let mut publication = Publication::output_folder(dir.path()).unwrap();
    publication.map(&other.header, &run, &other.map).unwrap();
    assert!(dir.path().join("map.json.partial").exists());
    drop(publication);
    assert_eq!(fs::read(dir.path().join("map.json")).unwrap(), before);
    assert!(!names(dir.path()).iter().any(|n| n.ends_with(".partial")));
}

#[test]
fn a_number_that_is_not_finite_is_refused_and_nothing_is_left() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    let mut output = Output::sample();
    output.map.fruitlets[1].covariance_m2[(2, 2)] = f64::NAN;
    let error = output.write(dir.path(), &run, &arm).unwrap_err();
    assert!(matches!(error, WriteError::Value { .. }), "{error}");
    assert!(names(dir.path()).is_empty());
}

#[test]
fn a_position_without_an_entry_is_an_error() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    let mut output = Output::sample();
    output.map.fruitlets[1].cluster_idx = 9;
    let error = output.write(dir.path(), &run, &arm).unwrap_err();
    assert!(
        matches!(
            error,
            WriteError::Position {
                kind: "cluster",
                position: 9,
                count: 1,
                ..
            }
        ),
        "{error}"
    );
}

#[test]
fn further_files_and_folders_are_published_with_the_rest() {
    let dir = tempfile::tempdir().unwrap();
    let mut publication = Publication::output_folder(dir.path()).unwrap();
    publication.bytes("pictures/left-0.svg", b"<svg/>").unwrap();
    assert!(!dir.path().join("pictures/left-0.svg").exists());
    publication.publish().unwrap();
    assert_eq!(
        fs::read(dir.path().join("pictures/left-0.svg")).unwrap(),
        b"<svg/>"
    );
}

#[test]
fn every_file_of_an_output_ends_with_a_line_break_and_holds_no_minus_zero() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    let mut output = Output::sample();
    output.map.fruitlets[1].centre.xyz.x = -0.0;
    output.write(dir.path(), &run, &arm).unwrap();
    for name in names(dir.path()) {
        let text = fs::read_to_string(dir.path().join(&name)).unwrap();
        assert!(text.ends_with('\n') && !text.contains("-0.0,"), "{name}");
    }
}

#[test]
fn what_a_stopped_run_left_behind_is_removed() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    fs::write(
        dir.path().join("decisions.json.partial"),
        "{\"version\": 1, \"dec",
    )
    .unwrap();
    Output::sample().write(dir.path(), &run, &arm).unwrap();
    assert!(!names(dir.path()).iter().any(|n| n.ends_with(".partial")));
}
