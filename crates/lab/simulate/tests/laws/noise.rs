//! Randomness: same seed same run, one purpose never shifts another, and noise of the size that is asked for.

use crate::common::{boxes, moments, run, small, text};
use corymb_model::run::Class;
use corymb_simulate::SceneSpec;
use std::collections::BTreeMap;

#[test]
fn a_seed_gives_one_run_on_any_number_of_threads() {
    let spec = small(SceneSpec::hard());
    let here = text(&run(&spec, 77));
    for threads in [1, 3] {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        assert_eq!(here, pool.install(|| text(&run(&spec, 77))));
    }
    assert_ne!(here, text(&run(&spec, 78)));
}

#[test]
fn noise_does_not_grow_another_orchard() {
    let plain = run(&small(SceneSpec::platform()), 7);
    let mut spec = small(SceneSpec::platform());
    spec.detector = SceneSpec::hard().detector;
    spec.errors = SceneSpec::hard().errors;
    spec.leaves.per_cluster = 0.0;
    let noisy = run(&spec, 7);
    assert_eq!(plain.truth.fruitlets, noisy.truth.fruitlets);
    assert_eq!(
        format!("{:?}", plain.true_orchard),
        format!("{:?}", noisy.true_orchard)
    );
    let pose = |s: &corymb_simulate::Simulated| s.true_scene.frames[0].orchard_from_rig;
    assert_eq!(pose(&plain), pose(&noisy));
}

#[test]
fn larger_edge_noise_moves_the_same_boxes_further() {
    let mut spec = small(SceneSpec::perfect());
    let exact = boxes(&run(&spec, 2));
    let mut by = |white_px: f64| {
        spec.detector.edge_white_px = white_px;
        spec.detector.least_side_px = 0.1;
        let noisy = boxes(&run(&spec, 2));
        exact
            .iter()
            .map(|(key, b)| noisy[key][0] - b[0])
            .collect::<Vec<_>>()
    };
    let (one, two) = (by(0.1), by(0.2));
    assert!(
        one.iter()
            .zip(&two)
            .all(|(a, b)| (2.0 * a - b).abs() < 1e-5)
    );
}

#[test]
fn a_perfect_run_has_no_noise() {
    let s = run(&small(SceneSpec::perfect()), 13);
    for (frame, truth) in s.run.frames.iter().zip(&s.true_scene.frames) {
        assert_eq!(frame.orchard_from_rig, Some(truth.orchard_from_rig));
        assert!(s.truth.detections[&frame.id].iter().all(Option::is_some));
        // every body whose outline lies more than half in the image is there
        let shown: Vec<usize> = truth
            .visible
            .iter()
            .filter(|v| v.1 >= 0.5)
            .map(|v| v.0)
            .collect();
        let boxed = frame
            .detections
            .iter()
            .filter(|d| d.class == Class::Fruitlet)
            .count();
        assert_eq!(boxed, shown.len());
    }
    for (camera, mount) in s.run.cameras.iter().zip(&s.true_scene.mounts) {
        assert_eq!(camera.rig_from_camera, *mount);
    }
    let filed = s.run.orchard.unwrap();
    assert_eq!(format!("{filed:?}"), format!("{:?}", s.true_orchard));
}

/// The two parts of the edge noise, told apart by what a body's boxes in one camera share.
#[test]
fn edge_noise_has_a_part_that_is_constant_for_a_body_and_camera() {
    let mut spec = small(SceneSpec::perfect());
    spec.passes[0].exposures = 30;
    let exact = boxes(&run(&spec, 2));
    spec.detector.edge_white_px = 0.6;
    spec.detector.edge_constant_px = 0.9;
    let s = run(&spec, 2);
    let mut errors: BTreeMap<(usize, usize), Vec<f64>> = BTreeMap::new();
    for ((frame, k, class), b) in boxes(&s) {
        if class == Class::Fruitlet && b[0] > 0.0 {
            let camera_idx = s
                .run
                .frames
                .iter()
                .find(|f| f.id == frame)
                .unwrap()
                .camera_idx;
            let whole = exact[&(frame, k, class)];
            errors
                .entry((k, camera_idx))
                .or_default()
                .push(b[0] - whole[0]);
        }
    }
    let groups: Vec<&Vec<f64>> = errors.values().filter(|g| g.len() >= 5).collect();
    let means: Vec<f64> = groups.iter().map(|g| moments(g).0).collect();
    let within: Vec<f64> = groups
        .iter()
        .flat_map(|g| {
            let mean = moments(g).0;
            let gain = (g.len() as f64 / (g.len() as f64 - 1.0)).sqrt();
            g.iter().map(move |e| (e - mean) * gain)
        })
        .collect();
    let (constant_px, white_px) = (moments(&means).1, moments(&within).1);
    assert!((white_px - 0.6).abs() < 0.05, "{white_px}");
    let mean_count = within.len() as f64 / groups.len() as f64;
    let expected = (0.81 + 0.36 / mean_count).sqrt();
    assert!(
        (constant_px - expected).abs() < 4.0 * expected / (2.0 * means.len() as f64).sqrt(),
        "{constant_px}"
    );
}

/// With nothing hidden and large boxes the share of boxes is the stated probability.
#[test]
fn detection_probability_is_as_asked() {
    let mut spec = small(SceneSpec::perfect());
    spec.passes[0].exposures = 12;
    let all = boxes(&run(&spec, 2));
    for p in [0.3, 0.8] {
        spec.detector.body.probability = p;
        spec.detector.stem.probability = p;
        spec.detector.calyx.probability = p;
        spec.detector.body_logit_deviation = 0.0;
        let some = boxes(&run(&spec, 2));
        let n = all.len() as f64;
        let share = some.len() as f64 / n;
        assert!(
            (share - p).abs() < 4.0 * (p * (1.0 - p) / n).sqrt(),
            "{share} for {p}"
        );
    }
}

#[test]
fn false_boxes_come_at_their_rates() {
    let mut spec = small(SceneSpec::perfect());
    spec.passes[0].exposures = 60;
    spec.detector.false_per_image = 2.0;
    spec.detector.ignored_per_image = 0.7;
    let s = run(&spec, 3);
    let images = s.run.frames.len() as f64;
    let mut counts = [0.0; 2];
    for frame in &s.run.frames {
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if label.is_none() {
                counts[usize::from(d.class == Class::Ignore)] += 1.0;
            }
        }
    }
    for (count, mean) in counts.iter().zip([2.0, 0.7]) {
        assert!(
            (count / images - mean).abs() < 4.0 * (mean / images).sqrt(),
            "{} for {mean}",
            count / images
        );
    }
}

/// A thing that looks like a fruit is boxed where it hangs, in many images.
#[test]
fn look_alikes_stay_where_they_are() {
    let mut spec = small(SceneSpec::perfect());
    spec.passes[0].exposures = 12;
    spec.detector.false_objects_per_tree = 6.0;
    spec.detector.false_object_probability = 1.0;
    let s = run(&spec, 5);
    assert!(!s.true_scene.look_alikes.is_empty());
    let mut found = 0;
    for (frame, truth) in s.run.frames.iter().zip(&s.true_scene.frames) {
        let camera = &s.run.cameras[frame.camera_idx];
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if label.is_some() {
                continue;
            }
            let near = s.true_scene.look_alikes.iter().any(|b| {
                let p = truth.orchard_from_camera.inverse().apply(&b.centre).xyz;
                p.z > 0.0 && {
                    let px = crate::common::project(camera, &p);
                    (px[0] - 0.5 * (d.box_px[0] + d.box_px[2])).abs() < 30.0
                        && (px[1] - 0.5 * (d.box_px[1] + d.box_px[3])).abs() < 30.0
                }
            });
            assert!(near, "{} has a false box at no look-alike", frame.id);
            found += 1;
        }
    }
    assert!(found > 3 * s.true_scene.look_alikes.len(), "{found}");
}

#[test]
fn merged_boxes_hold_both_and_duplicates_share_a_label() {
    let mut spec = small(SceneSpec::perfect());
    spec.crop = SceneSpec::dense().crop;
    let plain = run(&spec, 5);
    spec.detector.merge_probability = 1.0;
    let merged = run(&spec, 5);
    let bodies = |s: &corymb_simulate::Simulated| {
        s.run
            .frames
            .iter()
            .flat_map(|f| &f.detections)
            .filter(|d| d.class.is_body())
            .count()
    };
    assert!(bodies(&merged) < bodies(&plain));
    let before = boxes(&plain);
    for (key, b) in boxes(&merged) {
        let own = before[&key];
        assert!(b[0] <= own[0] && b[1] <= own[1] && b[2] >= own[2] && b[3] >= own[3]);
    }
    spec.detector.merge_probability = 0.0;
    spec.detector.duplicate_probability = 1.0;
    let double = run(&spec, 5);
    assert!(
        bodies(&double) > bodies(&plain) * 19 / 10,
        "twice, but for boxes lost at the border"
    );
}

#[test]
fn scores_rise_with_the_visible_share() {
    let s = run(
        &SceneSpec {
            passes: small(SceneSpec::platform()).passes,
            ..SceneSpec::platform()
        },
        3,
    );
    let (mut clear, mut hidden) = (Vec::new(), Vec::new());
    for (frame, truth) in s.run.frames.iter().zip(&s.true_scene.frames) {
        let share: BTreeMap<usize, f64> = truth.visible.iter().copied().collect();
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if let (Class::Fruitlet, Some(k)) = (d.class, label) {
                if share[k] > 0.8 {
                    clear.push(d.score);
                } else if share[k] < 0.5 {
                    hidden.push(d.score);
                }
            }
        }
    }
    assert!(moments(&clear).0 > moments(&hidden).0 + 0.2);
}

#[test]
fn tracks_follow_a_body_until_they_break() {
    let mut spec = small(SceneSpec::close());
    spec.passes[0].exposures = 25;
    let s = run(&spec, 3);
    let mut of_track: BTreeMap<(usize, String), Vec<usize>> = BTreeMap::new();
    let mut of_body: BTreeMap<(usize, usize), Vec<String>> = BTreeMap::new();
    for frame in &s.run.frames {
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if let (Some(track), Some(k)) = (&d.track, label) {
                of_track
                    .entry((frame.camera_idx, track.clone()))
                    .or_default()
                    .push(*k);
                of_body
                    .entry((frame.camera_idx, *k))
                    .or_default()
                    .push(track.clone());
            }
        }
    }
    assert!(
        of_track
            .values()
            .all(|bodies| bodies.windows(2).all(|w| w[0] == w[1]))
    );
    let steps: usize = of_body.values().map(|t| t.len() - 1).sum();
    let breaks: usize = of_body
        .values()
        .flat_map(|t| t.windows(2))
        .filter(|w| w[0] != w[1])
        .count();
    assert!(breaks > 0 && breaks * 4 < steps, "{breaks} of {steps}");
}

#[test]
fn a_share_of_depths_is_of_something_else() {
    let mut spec = small(SceneSpec::perfect());
    spec.passes[0].exposures = 12;
    let exact = depths_m(&run(&spec, 5));
    spec.detector.depth.deviation_m = 0.002;
    spec.detector.depth.outlier_share = 0.2;
    let noisy = depths_m(&run(&spec, 5));
    let errors: Vec<f64> = noisy.iter().map(|(key, z)| z - exact[key]).collect();
    let (good, bad): (Vec<f64>, Vec<f64>) = errors.iter().partition(|e| e.abs() < 0.02);
    let share = bad.len() as f64 / errors.len() as f64;
    let tolerance = 4.0 * (0.16 / errors.len() as f64).sqrt();
    assert!(
        (share - 0.2).abs() < tolerance,
        "{share} of {}",
        errors.len()
    );
    assert!((moments(&good).1 - 0.002).abs() < 2e-4);
}

fn depths_m(s: &corymb_simulate::Simulated) -> BTreeMap<(String, usize, Class), f64> {
    let mut found = BTreeMap::new();
    for frame in &s.run.frames {
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if let (Some(k), Some(z)) = (label, d.depth_m) {
                found.insert((frame.id.clone(), *k, d.class), z);
            }
        }
    }
    found
}

#[test]
fn damage_and_confused_kings_show_as_asked() {
    let mut spec = small(SceneSpec::bloom());
    spec.detector = SceneSpec::perfect().detector;
    spec.detector.damaged_share = 0.3;
    spec.detector.king_confusion = 0.2;
    let s = run(&spec, 5);
    let (mut sound, mut damaged, mut confused, mut all) = (Vec::new(), Vec::new(), 0.0, 0.0);
    for frame in &s.run.frames {
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if let (Some(score), Some(k)) = (d.damaged, label) {
                let body = &s.true_scene.bodies[*k];
                let group = if body.damaged {
                    &mut damaged
                } else {
                    &mut sound
                };
                group.push(score);
                all += 1.0;
                confused += f64::from(u8::from(d.class != body.class));
            }
        }
    }
    assert!(moments(&damaged).0 > moments(&sound).0 + 0.4);
    let share: f64 = confused / all;
    assert!(
        (share - 0.2).abs() < 4.0 * (0.16_f64 / all).sqrt(),
        "{share} of {all}"
    );
}
