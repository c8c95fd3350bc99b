//! Fusion as a whole, on simulated runs with known truth and on runs with next to nothing in them.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use corymb_fusion::{Config, fuse, fuse_known};
use corymb_model::frames::Pose;
use corymb_model::run::{BoxRef, Class, Detection, Frame, Run};
use corymb_model::scene::Scene;
use corymb_simulate::{SceneSpec, Simulated, simulate};
use nalgebra::{Isometry3, UnitQuaternion, Vector3};
use std::collections::BTreeMap;

#[path = "fusion/diagnostics.rs"]
mod diagnostics;
#[path = "fusion/hints.rs"]
mod hints;

/// Fruit matched within the larger of 12 mm and its radius, of those that two images show: (hits, expected, bodies).
fn hits(s: &Simulated, scene: &Scene) -> (usize, usize, usize) {
    let mut views: BTreeMap<usize, usize> = BTreeMap::new();
    for f in &s.run.frames {
        let labels = &s.truth.detections[&f.id];
        let mut seen: Vec<usize> = f
            .detections
            .iter()
            .zip(labels)
            .filter(|(d, _)| d.class.is_body())
            .filter_map(|(_, l)| *l)
            .collect();
        seen.sort_unstable();
        seen.dedup();
        for l in seen {
            *views.entry(l).or_default() += 1;
        }
    }
    let expected: Vec<usize> = views.iter().filter(|v| *v.1 >= 2).map(|v| *v.0).collect();
    let found = expected
        .iter()
        .filter(|&&k| {
            let t = &s.truth.fruitlets[k];
            let gate = (t.diameter_m / 2.0).max(0.012);
            scene
                .bodies
                .iter()
                .any(|b| (b.centre.xyz - t.centre.xyz).norm() < gate)
        })
        .count();
    (
        found,
        expected.len(),
        scene.bodies.iter().filter(|b| b.existence >= 0.5).count(),
    )
}

#[test]
fn a_faultless_run_comes_out_exactly() {
    let s = simulate(&SceneSpec::perfect(), 3).unwrap();
    let scene = fuse(&s.run, &Config::default());
    let (found, expected, bodies) = hits(&s, &scene);
    assert_eq!((found, bodies), (expected, expected));
    let mut errors: Vec<f64> = s
        .truth
        .fruitlets
        .iter()
        .filter_map(|t| {
            scene
                .bodies
                .iter()
                .map(|b| (b.centre.xyz - t.centre.xyz).norm())
                .min_by(f64::total_cmp)
        })
        .collect();
    errors.sort_by(f64::total_cmp);
    assert!(
        errors[errors.len() / 2] < 2e-4,
        "median {} m",
        errors[errors.len() / 2]
    );
}

#[test]
fn a_noisy_run_is_found_nearly_whole_and_each_box_is_claimed_once() {
    let s = simulate(&SceneSpec::close(), 5).unwrap();
    let scene = fuse(&s.run, &Config::default());
    let (found, expected, bodies) = hits(&s, &scene);
    assert!(found * 100 >= expected * 93, "{found} of {expected}");
    assert!(
        bodies * 93 <= expected * 100,
        "{bodies} bodies for {expected}"
    );
    let mut claimed: Vec<BoxRef> = scene
        .bodies
        .iter()
        .flat_map(|b| [&b.boxes, &b.duplicate_boxes, &b.calyx_boxes, &b.stem_boxes])
        .flatten()
        .copied()
        .collect();
    let all = claimed.len();
    claimed.sort_unstable();
    claimed.dedup();
    assert_eq!(claimed.len(), all);
    for b in &scene.bodies {
        let mut frames: Vec<u32> = b.boxes.iter().map(|x| x.frame_idx).collect();
        frames.dedup();
        assert_eq!(frames.len(), b.boxes.len(), "one box an image");
        assert!(b.covariance_m2.cholesky().is_some());
        assert!((0.0..=1.0).contains(&b.existence));
    }
}

#[test]
fn threads_do_not_change_a_bit() {
    let s = simulate(&SceneSpec::two_trees(), 1).unwrap();
    let on = |n: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .unwrap()
            .install(|| format!("{:?}", fuse(&s.run, &Config::default())))
    };
    let one = on(1);
    assert!(one == on(2) && one == on(8));
}

/// Moves the whole run: poses and orchard.
fn moved(run: &Run, by: &Isometry3<f64>) -> Run {
    let mut out = run.clone();
    for f in &mut out.frames {
        f.orchard_from_rig = f.orchard_from_rig.map(|p| Pose::from_isometry(by * p.iso));
    }
    for p in &mut out.poses {
        p.orchard_from_rig = Pose::from_isometry(by * p.orchard_from_rig.iso);
    }
    let go = |p: &mut corymb_model::Point<corymb_model::frames::Orchard>| {
        p.xyz = by.transform_point(&p.xyz.into()).coords;
    };
    for tree in out.orchard.iter_mut().flat_map(|o| &mut o.trees) {
        go(&mut tree.base);
        tree.limbs
            .iter_mut()
            .flat_map(|l| &mut l.points)
            .for_each(go);
    }
    out
}

#[test]
fn the_map_moves_with_the_frame() {
    let s = simulate(&SceneSpec::two_trees(), 2).unwrap();
    let by = Isometry3::from_parts(
        Vector3::new(12.0, -3.0, 0.5).into(),
        UnitQuaternion::from_scaled_axis(Vector3::new(0.0, 0.0, 0.7)),
    );
    let here = fuse(&s.run, &Config::default());
    let there = fuse(&moved(&s.run, &by), &Config::default());
    assert_eq!(here.bodies.len(), there.bodies.len());
    for b in &here.bodies {
        let p = by.transform_point(&b.centre.xyz.into()).coords;
        let near = there
            .bodies
            .iter()
            .map(|o| (o.centre.xyz - p).norm())
            .min_by(f64::total_cmp)
            .unwrap();
        assert!(near < 1e-4, "{near}");
    }
}

fn detection(at: f64) -> Detection {
    Detection {
        class: Class::Fruitlet,
        score: 0.9,
        box_px: [at, at, at + 30.0, at + 30.0],
        depth_m: None,
        axis_px: None,
        damaged: None,
        track: None,
    }
}

fn bare(frames: Vec<Frame>) -> Run {
    let mut run = simulate(&SceneSpec::two_trees(), 1).unwrap().run;
    run.frames = frames;
    run.poses.clear();
    run.orchard = None;
    run.noise = corymb_model::run::StatedNoise::default();
    run
}

fn frame(k: usize, posed: bool, detections: Vec<Detection>) -> Frame {
    let at = Vector3::new(0.05 * k as f64, -0.9, 1.5);
    Frame {
        id: format!("f{k:02}"),
        camera_idx: 0,
        time_s: k as f64 * 0.2,
        orchard_from_rig: posed
            .then(|| Pose::from_isometry(Isometry3::translation(at.x, at.y, at.z))),
        pass: None,
        detections,
    }
}

#[test]
fn next_to_nothing_is_no_trouble() {
    let cases: Vec<(&str, Vec<Frame>)> = vec![
        ("no image", vec![]),
        (
            "images without boxes",
            (0..3).map(|k| frame(k, true, vec![])).collect(),
        ),
        ("one image", vec![frame(0, true, vec![detection(300.0)])]),
        (
            "no poses",
            (0..3)
                .map(|k| frame(k, false, vec![detection(300.0)]))
                .collect(),
        ),
        (
            "the same boxes everywhere",
            (0..6)
                .map(|k| frame(k, true, vec![detection(300.0); 4]))
                .collect(),
        ),
        (
            "a box as large as the image",
            vec![frame(
                0,
                true,
                vec![Detection {
                    box_px: [0.0, 0.0, 2e3, 1.5e3],
                    ..detection(0.0)
                }],
            )],
        ),
    ];
    for (name, frames) in cases {
        let without = frames
            .iter()
            .filter(|f| f.orchard_from_rig.is_none())
            .count();
        let run = bare(frames);
        let scene = fuse(&run, &Config::default());
        assert_eq!(scene.views.len(), run.frames.len(), "{name}");
        assert_eq!(scene.frames_left_out, without, "{name}");
        assert!(
            scene
                .bodies
                .iter()
                .all(|b| b.centre.xyz.iter().all(|v| v.is_finite())),
            "{name}"
        );
    }
}

#[test]
fn a_camera_that_stands_still_invents_no_depth_it_does_not_have() {
    let frames = (0..5)
        .map(|k| {
            let mut f = frame(0, true, vec![detection(500.0), detection(900.0)]);
            f.id = format!("s{k}");
            f.time_s = f64::from(k);
            f
        })
        .collect();
    let run = bare(frames);
    for b in &fuse(&run, &Config::default()).bodies {
        let depth_sd = b
            .covariance_m2
            .fixed_view::<3, 3>(0, 0)
            .symmetric_eigenvalues()
            .max()
            .sqrt();
        assert!(
            depth_sd > 0.02,
            "no parallax, yet the place is stated to {depth_sd} m"
        );
    }
}

/// The true identity of every body box.
fn identities(s: &Simulated) -> Vec<Vec<Option<usize>>> {
    let of = |f: &Frame| s.truth.detections[&f.id].clone();
    s.run.frames.iter().map(of).collect()
}

#[test]
fn known_identities_leave_nothing_to_associate() {
    let s = simulate(&SceneSpec::hard(), 5).unwrap();
    let scene = fuse_known(&s.run, &identities(&s), &Config::default());
    let (found, expected, bodies) = hits(&s, &scene);
    let (found_alone, _, bodies_alone) = hits(&s, &fuse(&s.run, &Config::default()));
    assert!(bodies <= expected, "{bodies} bodies of {expected}");
    let f1 = |found: usize, bodies: usize| 2.0 * found as f64 / (expected + bodies) as f64;
    let (with, without) = (f1(found, bodies), f1(found_alone, bodies_alone));
    assert!(with > without, "{with} with, {without} without");
    for body in &scene.bodies {
        let shown: Vec<Option<usize>> = (body.boxes.iter().chain(&body.duplicate_boxes))
            .map(|at| {
                let frame = &s.run.frames[at.frame_idx as usize];
                s.truth.detections[&frame.id][at.detection_idx as usize]
            })
            .collect();
        assert!(shown.iter().all(|l| l.is_some() && *l == shown[0]));
        let mut frames: Vec<u32> = body.boxes.iter().map(|b| b.frame_idx).collect();
        frames.dedup();
        assert_eq!(frames.len(), body.boxes.len());
    }
}

#[test]
fn identities_that_say_nothing_give_nothing() {
    let s = simulate(&SceneSpec::perfect(), 3).unwrap();
    let none: Vec<Vec<Option<usize>>> = Vec::new();
    assert!(
        fuse_known(&s.run, &none, &Config::default())
            .bodies
            .is_empty()
    );
}

#[test]
fn fruit_that_sway_with_their_spurs_are_kept_apart_better_for_knowing_it() {
    let mut spec = SceneSpec::hard();
    spec.wind.sway_mm = 6.0;
    let s = simulate(&spec, 5).unwrap();
    let found = |common_motion| {
        let config = Config {
            common_motion,
            rounds: 1,
            ..Config::default()
        };
        hits(&s, &fuse(&s.run, &config)).0
    };
    let (blind, knowing) = (found(None), found(Some(0.75)));
    assert!(knowing > blind, "{knowing} knowing, {blind} blind");
}
