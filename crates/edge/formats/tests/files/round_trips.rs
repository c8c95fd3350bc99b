//! What is written comes back.

use crate::samples::{Output, sound, sound_arm, sound_run};
use corymb_formats::{
    Packing, read_arm, read_output, read_policy, read_run, read_truth, write_arm, write_policy,
    write_run, write_truth,
};
use corymb_model::frames::Pose;
use corymb_model::run::Run;
use corymb_model::truth::{NamedObject, TrueBox, Truth};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// Rounding of a pose in a file: 1e-7 m and 1e-9 of a quaternion.
fn assert_same_pose<T, S>(a: &Pose<T, S>, b: &Pose<T, S>) {
    assert!(
        (a.iso.translation.vector - b.iso.translation.vector).norm() < 2e-7,
        "{:?} {:?}",
        a.iso,
        b.iso
    );
    assert!(
        a.iso.rotation.angle_to(&b.iso.rotation) < 1e-8,
        "{:?} {:?}",
        a.iso,
        b.iso
    );
}

fn assert_same_run(a: &Run, b: &Run) {
    assert_eq!(
        (&a.name, &a.date, a.stage_bbch, &a.noise),
        (&b.name, &b.date, b.stage_bbch, &b.noise)
    );
    assert_eq!(
        a.orchard.as_ref().map(|o| (&o.rows, &o.trees)),
        b.orchard.as_ref().map(|o| (&o.rows, &o.trees))
    );
    assert_eq!(
        (a.cameras.len(), a.poses.len(), a.frames.len()),
        (b.cameras.len(), b.poses.len(), b.frames.len())
    );
    for (x, y) in a.cameras.iter().zip(&b.cameras) {
        assert_eq!(
            (&x.id, x.focal_px, x.distortion),
            (&y.id, y.focal_px, y.distortion)
        );
        assert_same_pose(&x.rig_from_camera, &y.rig_from_camera);
    }
    for (x, y) in a.poses.iter().zip(&b.poses) {
        assert_eq!(x.time_s, y.time_s);
        assert_same_pose(&x.orchard_from_rig, &y.orchard_from_rig);
    }
    for (x, y) in a.frames.iter().zip(&b.frames) {
        assert_eq!(
            (&x.id, x.camera_idx, x.time_s, &x.pass),
            (&y.id, y.camera_idx, y.time_s, &y.pass)
        );
        assert_eq!(x.detections, y.detections);
        assert_eq!(x.orchard_from_rig.is_some(), y.orchard_from_rig.is_some());
    }
}

#[test]
fn a_run_comes_back_in_every_packing() {
    let run = sound_run();
    for packing in [Packing::Plain, Packing::Gzip, Packing::Zstd] {
        let dir = tempfile::tempdir().unwrap();
        write_run(dir.path(), &run, packing).unwrap();
        let back = read_run(dir.path()).unwrap_or_else(|p| panic!("{p}"));
        assert_same_run(&run, &back.run);
        assert_eq!(back.inputs.len(), 4);
    }
}

#[test]
fn a_run_written_over_another_leaves_no_file_of_it() {
    let dir = tempfile::tempdir().unwrap();
    let mut run = sound_run();
    write_run(dir.path(), &run, Packing::Plain).unwrap();
    run.poses.clear();
    run.frames.retain(|f| f.orchard_from_rig.is_some());
    run.orchard = None;
    write_run(dir.path(), &run, Packing::Gzip).unwrap();
    let mut names: Vec<_> = fs::read_dir(dir.path())
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    names.sort();
    assert_eq!(names, ["frames.jsonl.gz", "run.json"]);
}

#[test]
fn written_bytes_do_not_depend_on_when_they_are_written() {
    let run = sound_run();
    let write = || {
        let dir = tempfile::tempdir().unwrap();
        write_run(dir.path(), &run, Packing::Gzip).unwrap();
        fs::read(dir.path().join("frames.jsonl.gz")).unwrap()
    };
    assert_eq!(write(), write());
}

#[test]
fn truth_comes_back() {
    let run = sound_run();
    let truth = read_truth(&sound().join("truth.json"), &run)
        .unwrap_or_else(|p| panic!("{p}"))
        .value;
    let dir = tempfile::tempdir().unwrap();
    for name in ["truth.json", "truth.json.gz", "truth.json.zst"] {
        let path = dir.path().join(name);
        write_truth(&path, &truth).unwrap();
        let back = read_truth(&path, &run).unwrap_or_else(|p| panic!("{p}"));
        assert_eq!(back.value, truth);
        assert_eq!(back.file_name, name);
    }
}

/// Each part of a truth alone: what is not there is not written, and the rest comes back.
#[test]
fn parts_of_truth_come_back() {
    let run = sound_run();
    let whole = read_truth(&sound().join("truth.json"), &run)
        .unwrap_or_else(|p| panic!("{p}"))
        .value;
    let named = || Truth {
        named: vec![NamedObject {
            id: "a".into(),
            tree: None,
            cluster: None,
        }],
        ..Truth::default()
    };
    let label = |o: Option<usize>| BTreeMap::from([("left-1".to_owned(), vec![o])]);
    let only_named = whole.boxes.values().map(|list| {
        let own = list.iter().map(|b| TrueBox {
            object: b.object.map(|_| 0),
            ..b.clone()
        });
        own.collect::<Vec<_>>()
    });
    let parts = [
        (Truth::default(), vec!["fruitlets", "detections"]),
        (
            Truth {
                fruitlets: whole.fruitlets.clone(),
                ..Truth::default()
            },
            vec!["fruitlets", "detections"],
        ),
        (
            Truth {
                detections: label(Some(0)),
                ..named()
            },
            vec!["fruitlets", "detections", "objects"],
        ),
        (
            Truth {
                boxes: whole.boxes.keys().cloned().zip(only_named).collect(),
                ..named()
            },
            vec!["objects", "boxes"],
        ),
        (
            Truth {
                boxes: BTreeMap::from([("left-1".to_owned(), vec![])]),
                left_out: whole.left_out.clone(),
                ..Truth::default()
            },
            vec!["boxes", "left_out"],
        ),
        (
            Truth {
                counts: whole.counts.clone(),
                ..Truth::default()
            },
            vec!["counts"],
        ),
    ];
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("truth.json");
    for (truth, fields) in parts {
        write_truth(&path, &truth).unwrap();
        let text: serde_json::Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
        let written: BTreeSet<&str> = text
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        let expected = fields.into_iter().chain(["version"]).collect();
        assert_eq!(written, expected);
        let back = read_truth(&path, &run).unwrap_or_else(|p| panic!("{p}"));
        assert_eq!(back.value, truth);
    }
}

/// Labelling tools name objects as they go: where no object is listed, the names in use are the objects, in order.
#[test]
fn names_in_use_are_objects_where_none_is_listed() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("truth.json");
    let text = r#"{"version": 1, "detections": {"left-1": ["b"]},
        "boxes": {"left-0": [{"class": "fruitlet", "object": "a", "box_px": [1, 2, 3, 4]}]}}"#;
    fs::write(&path, text).unwrap();
    let truth = read_truth(&path, &sound_run())
        .unwrap_or_else(|p| panic!("{p}"))
        .value;
    assert_eq!(
        [truth.object_id(0), truth.object_id(1), truth.object_id(2)],
        [Some("a"), Some("b"), None]
    );
    assert_eq!(truth.detections["left-1"], [Some(1)]);
    assert_eq!(truth.boxes["left-0"][0].object, Some(0));
}

#[test]
fn a_policy_and_an_arm_come_back() {
    let dir = tempfile::tempdir().unwrap();
    let policy = read_policy(&sound().join("policy.toml"))
        .unwrap_or_else(|p| panic!("{p}"))
        .value;
    write_policy(&dir.path().join("p.toml"), &policy).unwrap();
    assert_eq!(
        read_policy(&dir.path().join("p.toml"))
            .unwrap_or_else(|p| panic!("{p}"))
            .value,
        policy
    );
    let arm = sound_arm();
    write_arm(&dir.path().join("a.toml"), &arm).unwrap();
    let back = read_arm(&dir.path().join("a.toml"))
        .unwrap_or_else(|p| panic!("{p}"))
        .value;
    assert_eq!(format!("{arm:?}"), format!("{back:?}"));
}

#[test]
fn units_of_a_policy_and_an_arm_are_the_models() {
    let arm = sound_arm();
    let tool = &arm.tools[0];
    assert_eq!(
        (tool.inner_radius_m, tool.outer_radius_m, tool.length_m),
        (0.016, 0.018, 0.06)
    );
    assert_eq!(
        (tool.cut_offset_m, tool.standoff_m, tool.clearance_m),
        (-0.003, 0.08, 0.002)
    );
    assert!((tool.tilt_tolerance_rad - std::f64::consts::FRAC_PI_6).abs() < 1e-15);
    assert_eq!(arm.tools[1].cut_reach_m, 0.012);
    assert_eq!(
        arm.arms.iter().map(|a| a.id.as_str()).collect::<Vec<_>>(),
        ["main", "extra1"]
    );
    assert_eq!(arm.arms[0].repeatability_m, Some(0.001));
}

fn bytes(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(dir).unwrap().map(|e| e.unwrap());
    entries
        .map(|e| {
            (
                e.file_name().into_string().unwrap(),
                fs::read(e.path()).unwrap(),
            )
        })
        .collect()
}

#[test]
fn an_output_folder_comes_back_and_is_written_alike_again() {
    let (run, arm) = (sound_run(), sound_arm());
    let output = Output::sample();
    let first = tempfile::tempdir().unwrap();
    output.write(first.path(), &run, &arm).unwrap();
    let back = read_output(first.path(), &run, Some(&arm)).unwrap_or_else(|p| panic!("{p}"));
    let again = Output {
        header: back.header.clone(),
        map: back.map.clone(),
        calibration: back.calibration.clone().unwrap(),
        diagnostics: back.diagnostics.clone().unwrap(),
        decisions: back.decisions.clone().unwrap(),
        orders: back.orders.clone().unwrap(),
        refusals: back.refusals.clone().unwrap(),
        summary: back.summary.clone().unwrap(),
    };
    let second = tempfile::tempdir().unwrap();
    again.write(second.path(), &run, &arm).unwrap();
    for ((name, a), (_, b)) in bytes(first.path()).iter().zip(&bytes(second.path())) {
        assert_eq!(
            String::from_utf8_lossy(a),
            String::from_utf8_lossy(b),
            "{name}"
        );
    }
    assert_eq!(back.diagnostics.unwrap().boxes, output.diagnostics.boxes);
    assert_eq!(back.header, output.header);
    assert_eq!(back.summary.unwrap(), output.summary);
    assert_eq!(back.refusals.unwrap(), output.refusals);
    assert_eq!(
        back.decisions.unwrap().decisions,
        output.decisions.decisions
    );
    assert_eq!(back.map.clusters[0].members, output.map.clusters[0].members);
    assert_eq!(
        back.map.fruitlets[0].detections,
        output.map.fruitlets[0].detections
    );
}

#[test]
fn the_standoff_lies_straight_back_from_the_enclosing_pose() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    Output::sample().write(dir.path(), &run, &arm).unwrap();
    let text = fs::read_to_string(dir.path().join("orders.jsonl")).unwrap();
    let order: serde_json::Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
    let poses = order["poses"].as_array().unwrap();
    let names: Vec<_> = poses.iter().map(|p| p["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["standoff", "enclose", "cut", "retreat"]);
    let numbers = |at: usize, field: &str| -> Vec<f64> {
        let list = poses[at]["orchard_from_tool"][field].as_array().unwrap();
        list.iter().map(|n| n.as_f64().unwrap()).collect()
    };
    for (back, from) in [(0, 1), (3, 2)] {
        let (p, q) = (
            numbers(back, "translation_m"),
            numbers(from, "translation_m"),
        );
        let [x, y, z, w] = numbers(from, "quaternion_xyzw")[..] else {
            panic!("four numbers")
        };
        let tool_z = [
            2.0 * (x * z + w * y),
            2.0 * (y * z - w * x),
            1.0 - 2.0 * (x * x + y * y),
        ];
        for axis in 0..3 {
            assert!(
                (q[axis] - p[axis] - 0.08 * tool_z[axis]).abs() < 1e-6,
                "{p:?} {q:?}"
            );
        }
        assert_eq!(
            numbers(back, "quaternion_xyzw"),
            numbers(from, "quaternion_xyzw")
        );
    }
}

#[test]
fn stale_inputs_are_told() {
    let (run, arm) = (sound_run(), sound_arm());
    let dir = tempfile::tempdir().unwrap();
    Output::sample().write(dir.path(), &run, &arm).unwrap();
    let output = read_output(dir.path(), &run, None).unwrap_or_else(|p| panic!("{p}"));
    assert!(output.orders.is_none());
    assert!(output.stale_inputs(&output.header.inputs).is_empty());
    let other = BTreeMap::from([("run.json".to_owned(), "11".repeat(32))]);
    assert_eq!(output.stale_inputs(&other)[0].code.id(), "inputs-differ");
}
