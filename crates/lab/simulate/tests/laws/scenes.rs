//! The files of the named scenes, and refusals of scenes that make no sense.

use crate::common::{run, small};
use corymb_model::run::Class;
use corymb_simulate::spec::{PoseSource, check};
use corymb_simulate::{SceneSpec, SimulateError};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../fixtures/scenes")
}

#[test]
fn the_files_are_the_named_scenes() {
    for name in SceneSpec::NAMES {
        let text = std::fs::read_to_string(folder().join(format!("{name}.toml"))).unwrap();
        let from_file: SceneSpec = toml::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(Some(from_file), SceneSpec::named(name), "{name}");
    }
}

#[test]
fn there_is_a_file_a_name_and_a_line_for_each_scene() {
    let files = std::fs::read_dir(folder()).unwrap().filter_map(|e| {
        let path = e.unwrap().path();
        (path.extension()? == "toml").then(|| path.file_stem()?.to_str().map(str::to_owned))?
    });
    let files: BTreeSet<String> = files.collect();
    let names: BTreeSet<String> = SceneSpec::NAMES.map(str::to_owned).into();
    assert_eq!(files, names);
    let readme = std::fs::read_to_string(folder().join("README.md")).unwrap();
    for name in names {
        assert!(
            readme.contains(&format!("| `{name}` |")),
            "the README has no line for {name}"
        );
    }
}

#[test]
fn every_scene_survives_being_written() {
    for name in SceneSpec::NAMES {
        let spec = SceneSpec::named(name).unwrap();
        let text = toml::to_string(&spec).unwrap();
        assert_eq!(toml::from_str::<SceneSpec>(&text).unwrap(), spec, "{name}");
    }
}

#[test]
fn every_scene_shows_the_classes_of_its_season() {
    for name in SceneSpec::NAMES {
        let s = run(&small(SceneSpec::named(name).unwrap()), 3);
        let classes: BTreeSet<Class> = s
            .run
            .frames
            .iter()
            .flat_map(|f| &f.detections)
            .map(|d| d.class)
            .collect();
        let expected: &[Class] = match name {
            "bloom" => &[Class::Stem, Class::Flower, Class::KingFlower],
            "buds" => &[Class::Bud],
            _ => &[Class::Fruitlet, Class::Stem, Class::Calyx],
        };
        let shown = classes
            .iter()
            .copied()
            .filter(|c| *c != Class::Ignore)
            .collect::<BTreeSet<_>>();
        assert_eq!(shown, expected.iter().copied().collect(), "{name}");
        assert!(
            s.truth.fruitlets.len() > 5,
            "{name} grows {}",
            s.truth.fruitlets.len()
        );
    }
}

#[test]
fn unknown_fields_are_refused() {
    for text in [
        "colour = 1",
        "[orchard]\ntrees = 1",
        "[detector.depth]\nchance = 1",
        "[[cameras]]\nid = 'a'\nzoom = 2",
        "[[passes]]\n[passes.motion]\nkind = 'along_row'\nspeed = 1",
        "[[passes]]\n[passes.motion]\nkind = 'flying'",
    ] {
        assert!(toml::from_str::<SceneSpec>(text).is_err(), "{text}");
    }
}

/// Breaks one field and expects to hear of exactly that field.
#[test]
fn each_unusable_field_is_named() {
    type Break = fn(&mut SceneSpec);
    let cases: &[(&str, Break)] = &[
        ("version", |s| s.version = 2),
        ("name", |s| s.name.clear()),
        ("orchard.rows", |s| s.orchard.rows = 0),
        ("orchard.trees_per_row", |s| s.orchard.trees_per_row = 5_000),
        ("orchard.height_m", |s| s.orchard.height_m = [2.0, 1.0]),
        ("orchard.limb_rise_deg", |s| {
            s.orchard.limb_rise_deg = [0.0, 95.0];
        }),
        ("orchard.lowest_limb_m", |s| s.orchard.lowest_limb_m = 9.0),
        ("crop.cluster_size_weights", |s| {
            s.crop.cluster_size_weights = [0.0; 6];
        }),
        ("crop.king_share", |s| s.crop.king_share = 1.1),
        ("crop.spur_gap_mm", |s| s.crop.spur_gap_mm = 0.0),
        ("crop.length_ratio", |s| s.crop.length_ratio = [1.0, 3.0]),
        ("crop.least_gap_mm", |s| s.crop.least_gap_mm = -30.0),
        ("crop.diameter_bounds_mm", |s| {
            s.crop.diameter_bounds_mm = Some([20.0, 10.0]);
        }),
        ("leaves.per_cluster", |s| s.leaves.per_cluster = f64::NAN),
        ("wind.sway_mm", |s| s.wind.sway_mm = -1.0),
        ("detector.body.probability", |s| {
            s.detector.body.probability = -0.1;
        }),
        ("detector.stem.full_above_share", |s| {
            s.detector.stem.full_above_share = 0.1;
        }),
        ("detector.calyx_within_deg", |s| {
            s.detector.calyx_within_deg = 120.0;
        }),
        ("detector.false_per_image", |s| {
            s.detector.false_per_image = f64::INFINITY;
        }),
        ("errors.pose_white_m", |s| s.errors.pose_white_m = -1.0),
        ("errors.pose_drift_s", |s| s.errors.pose_drift_s = 0.0),
        ("errors.clock_offset_s", |s| s.errors.clock_offset_s = 1.0),
        ("cameras", |s| s.cameras.clear()),
        ("cameras[1].id", |s| s.cameras[1].id = "bottom".into()),
        ("cameras[0].focal_px", |s| s.cameras[0].focal_px[1] = 0.0),
        ("passes", |s| s.passes.clear()),
        ("passes[0].rate_hz", |s| s.passes[0].rate_hz = 0.0),
        ("passes[1].start_s", |s| s.passes.push(s.passes[0].clone())),
    ];
    for (field, damage) in cases {
        let mut spec = SceneSpec::platform();
        damage(&mut spec);
        let Err(SimulateError::Unusable(problems)) = check(&spec) else {
            panic!("{field} passed");
        };
        let fields: Vec<&str> = problems.iter().map(|p| p.field.as_str()).collect();
        assert_eq!(fields, [*field]);
    }
}

#[test]
fn all_problems_are_reported_at_once() {
    let mut spec = SceneSpec::hard();
    spec.errors.poses = PoseSource::Trajectory;
    spec.errors.trajectory_hz = -1.0;
    spec.crop.hang = 2.0;
    let error = check(&spec).unwrap_err();
    assert!(
        error.to_string().contains("crop.hang")
            && error.to_string().contains("errors.trajectory_hz")
    );
}
