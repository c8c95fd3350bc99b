//! Reading does not depend on threads, on the order of lines or on how a file is cut into pieces.

use crate::samples::{sound, sound_run};
use corymb_formats::{Limits, Packing, Problems, RunFolder, read_run, read_run_with, write_run};
use corymb_model::run::{Class, Run};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

fn debug(run: &Run) -> String {
    format!("{run:?}")
}

/// A run of `count` images in a folder; boxes differ from image to image.
fn long_run(dir: &Path, count: usize) -> String {
    for name in ["run.json", "orchard.json", "poses.jsonl"] {
        fs::copy(sound().join(name), dir.join(name)).unwrap();
    }
    let mut lines = String::new();
    for n in 0..count {
        let camera = ["left", "right"][n % 2];
        let time = (n / 3) as f64 * 0.01;
        let mut boxes = String::new();
        for b in 0..40 {
            let x = (n * 7 + b * 13) % 560;
            let comma = if b > 0 { "," } else { "" };
            write!(
                boxes,
                "{comma}{{\"class\":\"green fruit\",\"score\":0.5,\"box_px\":[{x},{b},{}.5,{}]}}",
                x + 30,
                b + 31
            )
            .unwrap();
        }
        writeln!(lines, "{{\"frame\":\"i{n}\",\"camera\":\"{camera}\",\"time_s\":{time},\"detections\":[{boxes}]}}").unwrap();
    }
    fs::write(dir.join("frames.jsonl"), &lines).unwrap();
    lines
}

fn with_threads(threads: usize, dir: &Path) -> Result<RunFolder, Problems> {
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .unwrap()
        .install(|| read_run(dir))
}

#[test]
fn frames_are_ordered_by_time_then_camera_then_id() {
    let dir = tempfile::tempdir().unwrap();
    long_run(dir.path(), 30);
    let run = read_run(dir.path()).unwrap_or_else(|p| panic!("{p}")).run;
    let keys: Vec<_> = run
        .frames
        .iter()
        .map(|f| (f.time_s, f.camera_idx, f.id.clone()))
        .collect();
    assert!(keys.windows(2).all(|w| w[0] < w[1]), "{keys:?}");
}

#[test]
fn threads_and_the_order_of_lines_change_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let lines = long_run(dir.path(), 2500); // more than one piece
    assert!(lines.len() > 4 << 20);
    let reference = read_run(dir.path()).unwrap_or_else(|p| panic!("{p}")).run;
    for threads in [1, 2, 8] {
        assert!(
            debug(&with_threads(threads, dir.path()).unwrap().run) == debug(&reference),
            "{threads} threads"
        );
    }
    let reversed: Vec<&str> = lines.lines().rev().collect();
    fs::write(dir.path().join("frames.jsonl"), reversed.join("\n")).unwrap(); // and no line break at the end
    assert!(debug(&read_run(dir.path()).unwrap().run) == debug(&reference));
}

#[test]
fn problems_keep_their_lines_whatever_the_threads() {
    let dir = tempfile::tempdir().unwrap();
    let lines = long_run(dir.path(), 1500);
    let mut bad: Vec<String> = lines.lines().map(ToOwned::to_owned).collect();
    for at in [3, 700, 1499] {
        bad[at] = bad[at].replacen("0.5", "1.5", 1);
    }
    bad.insert(10, String::new()); // blank lines count as lines and hold nothing
    fs::write(dir.path().join("frames.jsonl"), bad.join("\r\n")).unwrap();
    let one = with_threads(1, dir.path()).unwrap_err();
    let lines: Vec<_> = one.list.iter().map(|p| p.line).collect();
    assert_eq!(lines, [Some(4), Some(702), Some(1501)]);
    assert_eq!(one, with_threads(8, dir.path()).unwrap_err());
}

#[test]
fn problems_are_listed_up_to_the_limit_and_the_rest_is_mentioned() {
    let dir = tempfile::tempdir().unwrap();
    let lines = long_run(dir.path(), 20);
    fs::write(dir.path().join("frames.jsonl"), lines.replace("0.5", "1.5")).unwrap();
    let limits = Limits {
        problems: 7,
        ..Limits::default()
    };
    let problems = read_run_with(dir.path(), &limits).unwrap_err();
    assert_eq!(problems.list.len(), 7);
    assert_eq!(problems.cut_short, ["frames.jsonl"]);
    assert!(problems.to_string().contains("further problems"));
}

#[test]
fn problems_of_all_files_are_told_at_once() {
    let dir = tempfile::tempdir().unwrap();
    long_run(dir.path(), 3);
    let spoil = |name: &str, from: &str, to: &str| {
        let path = dir.path().join(name);
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains(from));
        fs::write(path, text.replacen(from, to, 1)).unwrap();
    };
    spoil("run.json", "\"height_px\"", "\"hieght_px\"");
    spoil("orchard.json", "\"row\": \"row1\"", "\"row\": \"row2\"");
    spoil("poses.jsonl", "0.4", "0.0");
    spoil("frames.jsonl", "\"time_s\":0,", "\"time_s\":\"0\",");
    let problems = read_run(dir.path()).unwrap_err();
    let codes: Vec<_> = problems
        .list
        .iter()
        .map(|p| (p.file.as_str(), p.code.id()))
        .collect();
    let expected = [
        ("run.json", "field-unknown"),
        ("run.json", "field-missing"),
        ("orchard.json", "row-unknown"),
        ("poses.jsonl", "time-goes-back"),
        ("frames.jsonl", "type-wrong"),
    ];
    assert_eq!(codes, expected);
    assert!(
        problems.list[0]
            .what_to_do
            .starts_with("Did you mean `height_px`?"),
        "{problems}"
    );
}

#[test]
fn labels_become_classes_and_axes_unit_vectors_on_fruit_alone() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["run.json", "orchard.json", "poses.jsonl"] {
        fs::copy(sound().join(name), dir.path().join(name)).unwrap();
    }
    let frames = fs::read_to_string(sound().join("frames.jsonl")).unwrap();
    let frames = frames.replacen("[0.6, 0.8]", "[30.0, -40.0]", 1);
    let frames = frames.replacen(
        "\"class\": \"pedicel\"",
        "\"axis_px\": [0.0, 0.0], \"class\": \"pedicel\"",
        1,
    );
    fs::write(dir.path().join("frames.jsonl"), frames).unwrap();
    let run = read_run(dir.path()).unwrap_or_else(|p| panic!("{p}")).run;
    let boxes = &run.frames[0].detections;
    assert_eq!(
        (boxes[0].class, boxes[1].class),
        (Class::Fruitlet, Class::Stem)
    );
    assert_eq!(
        (boxes[0].axis_px, boxes[1].axis_px),
        (Some([0.6, -0.8]), None)
    );
}

#[test]
fn quaternions_are_normalised_within_the_tolerance() {
    let dir = tempfile::tempdir().unwrap();
    write_run(dir.path(), &sound_run(), Packing::Plain).unwrap();
    let path = dir.path().join("poses.jsonl");
    let text = fs::read_to_string(&path)
        .unwrap()
        .replacen("0.0,1.0]", "0.0,1.0009]", 1);
    fs::write(path, text).unwrap();
    let run = read_run(dir.path()).unwrap_or_else(|p| panic!("{p}")).run;
    assert!((run.poses[0].orchard_from_rig.iso.rotation.norm() - 1.0).abs() < 1e-15);
}

#[test]
fn different_poses_at_one_time_are_a_warning() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["run.json", "orchard.json", "poses.jsonl"] {
        fs::copy(sound().join(name), dir.path().join(name)).unwrap();
    }
    let frames = fs::read_to_string(sound().join("frames.jsonl")).unwrap();
    let second = frames.lines().nth(1).unwrap();
    let moved = second.replacen("[0.0, -0.9", "[0.01, -0.9", 1);
    fs::write(
        dir.path().join("frames.jsonl"),
        frames.replacen(second, &moved, 1),
    )
    .unwrap();
    let folder = read_run(dir.path()).unwrap_or_else(|p| panic!("{p}"));
    let told: Vec<_> = folder
        .warnings
        .iter()
        .map(|w| (w.code.id(), w.line))
        .collect();
    assert_eq!(told, [("pose-differs", Some(2))]);
    // another pass may have other poses at the same time
    let passes = frames.replacen(second, &moved.replacen("east", "west", 1), 1);
    fs::write(dir.path().join("frames.jsonl"), passes).unwrap();
    assert!(
        read_run(dir.path())
            .unwrap_or_else(|p| panic!("{p}"))
            .warnings
            .is_empty()
    );
}
