//! What cameras see: outlines, hiding, borders.

use crate::common::{boxes, project, run, small};
use corymb_model::run::Class;
use corymb_model::truth::TrueBox;
use corymb_simulate::spec::LensSpec;
use corymb_simulate::{SceneSpec, Simulated, TrueBody};
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// Points all over a body's surface, orchard frame.
fn surface(b: &TrueBody, steps: usize) -> Vec<Vector3<f64>> {
    let a = b.axis.xyz;
    let side = if a.x.abs() < 0.7 {
        Vector3::x()
    } else {
        Vector3::y()
    };
    let u = a.cross(&side).normalize();
    let v = a.cross(&u);
    let (r, half) = (b.radius_m(), b.radius_m() * b.length_ratio);
    let turn = |n: usize, of: usize| std::f64::consts::TAU * n as f64 / of as f64;
    (0..=steps)
        .flat_map(|i| (0..2 * steps).map(move |j| (i, j)))
        .map(|(i, j)| {
            let (t, f) = (0.5 * turn(i, steps), turn(j, 2 * steps));
            b.centre.xyz + a * (half * t.cos()) + (u * f.cos() + v * f.sin()) * (r * t.sin())
        })
        .collect()
}

/// The box of a body is that of its whole surface, for every lens model and for spheroids too.
#[test]
fn boxes_hold_the_surface_tightly() {
    let mut spec = small(SceneSpec::perfect());
    spec.crop.length_ratio = [1.0, 1.4];
    spec.cameras[2].lens = LensSpec::Equidistant([0.02, -0.01, 0.004, -0.001]);
    let s = run(&spec, 4);
    let mut checked = [0; 3];
    for ((frame_id, k, class), box_px) in boxes(&s) {
        let at = s.run.frames.iter().position(|f| f.id == frame_id).unwrap();
        let camera = &s.run.cameras[s.run.frames[at].camera_idx];
        if class != Class::Fruitlet || checked[s.run.frames[at].camera_idx] >= 12 {
            continue;
        }
        let camera_from_orchard = s.true_scene.frames[at].orchard_from_camera.iso.inverse();
        let mut brute = [
            f64::INFINITY,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::NEG_INFINITY,
        ];
        for p in surface(&s.true_scene.bodies[k], 220) {
            let px = project(
                camera,
                &camera_from_orchard.transform_point(&p.into()).coords,
            );
            brute = [
                brute[0].min(px[0]),
                brute[1].min(px[1]),
                brute[2].max(px[0]),
                brute[3].max(px[1]),
            ];
        }
        let on_border = box_px[0] <= 0.0
            || box_px[1] <= 0.0
            || box_px[2] >= f64::from(camera.width_px)
            || box_px[3] >= f64::from(camera.height_px);
        if on_border {
            continue;
        }
        for e in 0..4 {
            // samples of the surface lie inside, by at most the sag between them
            let inside = if e < 2 {
                brute[e] - box_px[e]
            } else {
                box_px[e] - brute[e]
            };
            assert!(
                (-2e-6..6e-3).contains(&inside),
                "{frame_id} edge {e}: {inside}"
            );
        }
        checked[s.run.frames[at].camera_idx] += 1;
    }
    assert!(checked.iter().all(|n| *n >= 5), "{checked:?}");
}

/// In a perfect run with stated poses and mounts the calyx end and the stem's ends lie in their boxes.
#[test]
fn parts_lie_in_their_boxes() {
    let s = run(&small(SceneSpec::perfect()), 4);
    let mut checked = 0;
    for ((frame_id, k, class), b) in boxes(&s) {
        let frame = s.run.frames.iter().find(|f| f.id == frame_id).unwrap();
        let camera = &s.run.cameras[frame.camera_idx];
        let orchard_from_camera = frame
            .orchard_from_rig
            .unwrap()
            .after(&camera.rig_from_camera);
        let body = &s.true_scene.bodies[k];
        let points = match class {
            Class::Stem => vec![body.spur(), body.stem_top()],
            Class::Calyx => vec![body.calyx()],
            _ => vec![body.centre],
        };
        for p in points {
            let px = project(camera, &orchard_from_camera.inverse().apply(&p).xyz);
            let (w, h) = (f64::from(camera.width_px), f64::from(camera.height_px));
            if px[0] < 0.0 || px[1] < 0.0 || px[0] > w || px[1] > h {
                continue;
            }
            assert!(
                b[0] <= px[0] && px[0] <= b[2] && b[1] <= px[1] && px[1] <= b[3],
                "{frame_id} {class:?}"
            );
            checked += 1;
        }
    }
    assert!(checked > 300, "{checked}");
}

/// Hiding moves edges inwards only, and takes boxes away but never adds one.
#[test]
fn hiding_only_shrinks_boxes() {
    for base in [SceneSpec::perfect(), SceneSpec::dense()] {
        let mut spec = small(SceneSpec {
            crop: base.crop,
            ..SceneSpec::perfect()
        });
        spec.leaves.per_cluster = 4.0;
        for part in [
            &mut spec.detector.body,
            &mut spec.detector.stem,
            &mut spec.detector.calyx,
        ] {
            part.never_below_share = 0.0;
            part.full_above_share = 0.0;
        }
        let free = boxes(&run(&spec, 8));
        spec.detector.occlusion = true;
        let hidden = boxes(&run(&spec, 8));
        let mut shrunk = 0;
        for (key, b) in &hidden {
            let whole = free
                .get(key)
                .unwrap_or_else(|| panic!("{key:?} appears only when hidden"));
            for e in 0..4 {
                let inward = if e < 2 {
                    b[e] - whole[e]
                } else {
                    whole[e] - b[e]
                };
                assert!(inward >= -1e-9, "{key:?} edge {e} grew by {}", -inward);
            }
            shrunk += usize::from(b != whole);
        }
        assert!(
            shrunk > hidden.len() / 20 && shrunk < hidden.len(),
            "{shrunk} of {}",
            hidden.len()
        );
        assert!(hidden.len() < free.len());
    }
}

#[test]
fn more_leaves_hide_more() {
    let hidden = |per_cluster: f64| {
        let mut spec = small(SceneSpec::platform());
        spec.leaves.per_cluster = per_cluster;
        run(&spec, 9).true_scene.hidden_share
    };
    let shares = [0.0, 3.0, 9.0].map(hidden);
    assert!(
        shares[0] < shares[1] && shares[1] < shares[2] && shares[2] < 0.8,
        "{shares:?}"
    );
}

/// Calyx ends are boxed only within the stated angle of the line to the camera.
#[test]
fn calyx_ends_face_the_camera() {
    let s = run(&small(SceneSpec::perfect()), 4);
    let mut seen = 0;
    for ((frame_id, k, class), _) in boxes(&s) {
        if class == Class::Calyx {
            let at = s.run.frames.iter().position(|f| f.id == frame_id).unwrap();
            let eye = s.true_scene.frames[at].orchard_from_camera.origin().xyz;
            let b = &s.true_scene.bodies[k];
            let angle_deg = (eye - b.calyx().xyz).angle(&b.axis.xyz).to_degrees();
            assert!(angle_deg < 65.0 + 1e-6, "{angle_deg}");
            seen += 1;
        }
    }
    assert!(seen > 50, "{seen}");
}

#[test]
fn depth_is_that_of_the_near_surface() {
    let s = run(&small(SceneSpec::perfect()), 4);
    let mut checked = 0;
    for (frame, truth) in s.run.frames.iter().zip(&s.true_scene.frames) {
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if let (Class::Fruitlet, Some(k), Some(depth_m)) = (d.class, label, d.depth_m) {
                let b = &s.true_scene.bodies[*k];
                let z = truth.orchard_from_camera.inverse().apply(&b.centre).xyz.z;
                assert!((depth_m - (z - b.radius_m())).abs() < 1e-4);
                checked += 1;
            }
        }
    }
    assert!(checked > 100);
}

/// What the true boxes of a run say, by image, object and class.
fn true_boxes(s: &Simulated) -> BTreeMap<(String, usize, Class), TrueBox> {
    let mut all = BTreeMap::new();
    for (frame_id, list) in &s.truth.boxes {
        for b in list {
            let key = (frame_id.clone(), b.object.unwrap(), b.class);
            assert!(all.insert(key, b.clone()).is_none(), "one box a thing");
        }
    }
    all
}

/// A perfect detector's boxes are the true ones, to the step that truth is written to.
#[test]
fn a_perfect_detector_draws_the_true_boxes() {
    let s = run(&small(SceneSpec::perfect()), 4);
    let truth = true_boxes(&s);
    let drawn = boxes(&s);
    assert!(drawn.len() > 100, "{}", drawn.len());
    for (key, box_px) in drawn {
        let b = &truth[&key];
        assert!(
            b.box_px
                .iter()
                .zip(box_px)
                .all(|(t, d)| (t - d).abs() <= 0.0051),
            "{key:?}: {b:?} for {box_px:?}"
        );
    }
}

/// However the detector errs, the true boxes are those of what is really there, and every image has an entry.
#[test]
fn true_boxes_know_no_detector() {
    let mut hard = small(SceneSpec::hard());
    let s = run(&hard, 4);
    assert!(s.truth.boxes.keys().eq(s.truth.detections.keys()));
    for (frame, truth) in s.run.frames.iter().zip(&s.true_scene.frames) {
        let (camera, list) = (&s.run.cameras[frame.camera_idx], &s.truth.boxes[&frame.id]);
        let bodies = list.iter().filter(|b| b.class.is_body());
        let shares: Vec<(usize, f64)> = bodies
            .map(|b| (b.object.unwrap(), b.visible_share.unwrap()))
            .collect();
        let seen: Vec<(usize, f64)> = truth
            .visible
            .iter()
            .copied()
            .filter(|v| v.1 >= 0.02)
            .collect();
        assert_eq!(shares.len(), seen.len());
        for ((k, share), (body, visible)) in shares.iter().zip(seen) {
            assert!(*k == body && (share - visible).abs() <= 5.1e-4);
        }
        for b in list {
            let [x0, y0, x1, y1] = b.box_px;
            assert!(0.0 <= x0 && x0 < x1 && x1 <= f64::from(camera.width_px));
            assert!(0.0 <= y0 && y0 < y1 && y1 <= f64::from(camera.height_px));
        }
    }
    hard.detector.edge_white_px *= 3.0;
    hard.detector.body.probability *= 0.5;
    hard.detector.false_per_image += 2.0;
    assert_eq!(run(&hard, 4).truth.boxes, s.truth.boxes);
}
