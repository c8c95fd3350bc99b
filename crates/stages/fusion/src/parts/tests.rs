//! Parts as a whole: on true bodies of simulated runs, under changes that must not matter, and on next to nothing.

use super::{PartsConfig, attach_parts};
use corymb_model::diagnostics::Diagnostics;
use corymb_model::frames::{Point, Pose};
use corymb_model::run::{BoxRef, Camera, Class, Detection, Distortion, Frame, Run, StatedNoise};
use corymb_model::scene::{Body, Calibration, Scene, View};
use corymb_simulate::{SceneSpec, Simulated, simulate, truth_as_scene};
use nalgebra::{Isometry3, Matrix4, Translation3, UnitQuaternion, Vector3};
use std::collections::BTreeMap;

/// The true bodies and poses of a run, without their parts.
fn bare(s: &Simulated) -> Scene {
    let mut scene = truth_as_scene(s);
    for body in &mut scene.bodies {
        body.calyx_boxes.clear();
        body.stem_boxes.clear();
        (body.axis, body.stem) = (None, None);
    }
    scene
}

/// Which part boxes were given right, of how many: (stems, of, calyces, of).
fn right(truth: &Scene, scene: &Scene) -> [usize; 4] {
    let mut out = [0; 4];
    for (t, b) in truth.bodies.iter().zip(&scene.bodies) {
        out[0] += b
            .stem_boxes
            .iter()
            .filter(|x| t.stem_boxes.contains(x))
            .count();
        out[1] += t.stem_boxes.len();
        out[2] += b
            .calyx_boxes
            .iter()
            .filter(|x| t.calyx_boxes.contains(x))
            .count();
        out[3] += t.calyx_boxes.len();
    }
    out
}

/// Angles between found and true axes, degrees, ascending; a missing one counts as half a turn.
fn axis_errors(truth: &Scene, scene: &Scene) -> Vec<f64> {
    let error = |(t, b): (&Body, &Body)| match (t.axis, b.axis) {
        (Some(t), Some(b)) => t
            .direction
            .xyz
            .dot(&b.direction.xyz)
            .clamp(-1.0, 1.0)
            .acos()
            .to_degrees(),
        _ => 180.0,
    };
    let mut out: Vec<f64> = truth.bodies.iter().zip(&scene.bodies).map(error).collect();
    out.sort_by(f64::total_cmp);
    out
}

fn attached(run: &Run, mut scene: Scene) -> Scene {
    attach_parts(run, &mut scene, &PartsConfig::default());
    scene
}

#[test]
fn a_faultless_run_gives_every_part_to_its_fruit() {
    let s = simulate(&SceneSpec::perfect(), 21).unwrap();
    let (truth, scene) = (truth_as_scene(&s), attached(&s.run, bare(&s)));
    let [stems, all_stems, calyces, all_calyces] = right(&truth, &scene);
    assert!(
        stems * 100 >= all_stems * 99,
        "{stems} of {all_stems} stems"
    );
    assert!(
        calyces * 100 >= all_calyces * 99,
        "{calyces} of {all_calyces} calyx ends"
    );
    let errors = axis_errors(&truth, &scene);
    assert!(
        errors[errors.len() * 95 / 100] < 15.0,
        "95 % within {}",
        errors[errors.len() * 95 / 100]
    );
    let far = |(t, b): (&Body, &Body)| Some((t.stem?.far.xyz - b.stem?.far.xyz).norm());
    let mut fars: Vec<f64> = truth
        .bodies
        .iter()
        .zip(&scene.bodies)
        .filter_map(far)
        .collect();
    fars.sort_by(f64::total_cmp);
    assert!(
        fars.len() * 100 >= truth.bodies.len() * 95,
        "{} stems in space",
        fars.len()
    );
    assert!(
        fars[fars.len() / 2] < 0.001,
        "median {} m",
        fars[fars.len() / 2]
    );
}

#[test]
fn noise_and_leaves_leave_most_parts_in_the_right_hands() {
    let s = simulate(&SceneSpec::close(), 22).unwrap();
    let (truth, scene) = (truth_as_scene(&s), attached(&s.run, bare(&s)));
    let [stems, all_stems, calyces, all_calyces] = right(&truth, &scene);
    assert!(
        stems * 100 >= all_stems * 90,
        "{stems} of {all_stems} stems"
    );
    assert!(
        calyces * 100 >= all_calyces * 95,
        "{calyces} of {all_calyces} calyx ends"
    );
    let errors = axis_errors(&truth, &scene);
    let within = errors.iter().filter(|e| **e <= 30.0).count();
    assert!(
        within * 100 >= errors.len() * 90,
        "{within} of {} axes",
        errors.len()
    );
}

#[test]
fn stated_deviations_of_axes_are_of_the_size_of_their_errors() {
    let s = simulate(&SceneSpec::close(), 23).unwrap();
    let (truth, scene) = (truth_as_scene(&s), attached(&s.run, bare(&s)));
    let mut ratios: Vec<f64> = Vec::new();
    for (t, b) in truth.bodies.iter().zip(&scene.bodies) {
        if let (Some(t), Some(b)) = (t.axis, b.axis) {
            let error = t
                .direction
                .xyz
                .dot(&b.direction.xyz)
                .clamp(-1.0, 1.0)
                .acos();
            ratios.push(error / b.deviation_rad);
        }
    }
    ratios.sort_by(f64::total_cmp);
    // of a normal distribution in two dimensions the median is 1.18 and nine in ten lie within 2.15
    let (median, nine) = (ratios[ratios.len() / 2], ratios[ratios.len() * 9 / 10]);
    assert!((0.3..1.5).contains(&median), "median {median}");
    assert!((0.7..3.0).contains(&nine), "nine in ten within {nine}");
}

#[test]
fn no_box_is_given_twice_and_no_body_has_two_in_an_image() {
    let s = simulate(&SceneSpec::two_trees(), 24).unwrap();
    let scene = attached(&s.run, bare(&s));
    let mut owners: BTreeMap<BoxRef, usize> = BTreeMap::new();
    for (k, b) in scene.bodies.iter().enumerate() {
        for (list, class) in [(&b.stem_boxes, Class::Stem), (&b.calyx_boxes, Class::Calyx)] {
            assert!(list.windows(2).all(|w| w[0].frame_idx < w[1].frame_idx));
            for at in list {
                assert_eq!(owners.insert(*at, k), None);
                assert_eq!(s.run.detection(*at).map(|d| d.class), Some(class));
            }
        }
    }
    assert!(!owners.is_empty());
}

#[test]
fn the_number_of_threads_does_not_matter() {
    let s = simulate(&SceneSpec::two_trees(), 25).unwrap();
    let with = |n: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .unwrap();
        format!("{:?}", pool.install(|| attached(&s.run, bare(&s)).bodies))
    };
    assert_eq!(with(1), with(3));
}

#[test]
fn turning_and_moving_the_orchard_turns_axes_with_it() {
    let s = simulate(&SceneSpec::perfect(), 26).unwrap();
    // about the vertical: gravity bends stems
    let turned_from_own = Isometry3::from_parts(
        Translation3::new(3.0, -7.0, 0.5),
        UnitQuaternion::from_euler_angles(0.0, 0.0, 2.0),
    );
    let own = attached(&s.run, bare(&s));
    let mut moved = bare(&s);
    for view in &mut moved.views {
        view.orchard_from_camera = view
            .orchard_from_camera
            .map(|p| Pose::from_isometry(turned_from_own * p.iso));
    }
    for body in &mut moved.bodies {
        body.centre = Point::from_vector(
            turned_from_own.rotation * body.centre.xyz + turned_from_own.translation.vector,
        );
    }
    let moved = attached(&s.run, moved);
    let mut off: Vec<f64> = Vec::new();
    for (a, b) in own.bodies.iter().zip(&moved.bodies) {
        assert_eq!(a.axis.is_some(), b.axis.is_some());
        if let (Some(a), Some(b)) = (a.axis, b.axis) {
            off.push((turned_from_own.rotation * a.direction.xyz - b.direction.xyz).norm());
        }
    }
    off.sort_by(f64::total_cmp);
    assert!(
        off[off.len() * 98 / 100] < 0.01,
        "{}",
        off[off.len() * 98 / 100]
    );
}

/// A camera at the origin that looks along y, z up, with one image; a body of 8 mm radius half a metre away.
fn one_view(detections: Vec<Detection>) -> (Run, Scene) {
    let orchard_from_camera = Isometry3::from_parts(
        Translation3::identity(),
        UnitQuaternion::from_euler_angles(-std::f64::consts::FRAC_PI_2, 0.0, 0.0),
    );
    let camera = Camera {
        id: "only".into(),
        width_px: 1000,
        height_px: 1000,
        focal_px: [1000.0, 1000.0],
        principal_px: [500.0, 500.0],
        distortion: Distortion::None,
        rig_from_camera: Pose::identity(),
    };
    let boxes = detections.iter().position(|d| d.class == Class::Fruitlet);
    let boxes = boxes.map(|i| BoxRef {
        frame_idx: 0,
        detection_idx: u32::try_from(i).unwrap(),
    });
    let frame = Frame {
        id: "f".into(),
        camera_idx: 0,
        time_s: 0.0,
        orchard_from_rig: None,
        pass: None,
        detections,
    };
    let run = Run {
        name: "one".into(),
        date: String::new(),
        stage_bbch: None,
        cameras: vec![camera],
        noise: StatedNoise::default(),
        frames: vec![frame],
        poses: Vec::new(),
        orchard: None,
    };
    let body = Body {
        class: Class::Fruitlet,
        centre: Point::new(0.0, 0.5, 0.0),
        radius_m: 0.008,
        covariance_m2: Matrix4::identity() * 1e-8,
        shared_deviation_m: 0.0,
        existence: 1.0,
        boxes: boxes.into_iter().collect(),
        duplicate_boxes: Vec::new(),
        calyx_boxes: Vec::new(),
        stem_boxes: Vec::new(),
        axis: None,
        stem: None,
    };
    let scene = Scene {
        views: vec![View {
            orchard_from_camera: Some(Pose::from_isometry(orchard_from_camera)),
        }],
        bodies: vec![body],
        calibration: Calibration::default(),
        diagnostics: Diagnostics::default(),
        frames_left_out: 0,
        box_edge_px: 0.5,
    };
    (run, scene)
}

fn detection(class: Class, box_px: [f64; 4], axis_px: Option<[f64; 2]>) -> Detection {
    Detection {
        class,
        score: 0.9,
        box_px,
        depth_m: None,
        axis_px,
        damaged: None,
        track: None,
    }
}

const FRUIT: [f64; 4] = [484.0, 484.0, 516.0, 516.0];

#[test]
fn a_calyx_in_the_middle_of_the_fruit_points_at_the_camera() {
    let calyx = detection(Class::Calyx, [495.0, 495.0, 505.0, 505.0], None);
    let (run, scene) = one_view(vec![detection(Class::Fruitlet, FRUIT, None), calyx]);
    let scene = attached(&run, scene);
    let axis = scene.bodies[0].axis.unwrap();
    assert!(
        (axis.direction.xyz + Vector3::y()).norm() < 0.05,
        "{:?}",
        axis.direction
    );
    assert!(axis.deviation_rad < 0.3);
    assert_eq!(scene.bodies[0].calyx_boxes.len(), 1);
}

#[test]
fn an_image_axis_alone_leaves_half_a_plane() {
    let (run, scene) = one_view(vec![detection(Class::Fruitlet, FRUIT, Some([0.0, 1.0]))]);
    let axis = attached(&run, scene).bodies[0].axis.unwrap();
    // image y is down
    assert!(
        (axis.direction.xyz + Vector3::z()).norm() < 0.3,
        "{:?}",
        axis.direction
    );
    // the mean squared angle over a half circle is a twelfth of pi squared, shared by two axes
    assert!(
        (0.5..1.2).contains(&axis.deviation_rad),
        "{}",
        axis.deviation_rad
    );
}

#[test]
fn contradictions_widen_the_axis() {
    let calyx = detection(Class::Calyx, [495.0, 502.0, 505.0, 512.0], None);
    let fruit = |axis| detection(Class::Fruitlet, FRUIT, Some(axis));
    let deviation = |axis| {
        let (run, scene) = one_view(vec![fruit(axis), calyx.clone()]);
        attached(&run, scene).bodies[0].axis.unwrap().deviation_rad
    };
    let (agree, contradict) = (deviation([0.0, 1.0]), deviation([0.0, -1.0]));
    assert!(contradict > 1.2 * agree, "{contradict} against {agree}");
}

#[test]
fn a_stem_above_a_fruit_hangs_it_downwards() {
    // 24 mm of stem straight up from the top of the fruit, 2 mm thick
    let stem = detection(Class::Stem, [498.0, 433.2, 502.0, 485.2], None);
    let (run, scene) = one_view(vec![detection(Class::Fruitlet, FRUIT, None), stem]);
    let body = &attached(&run, scene).bodies[0];
    assert_eq!(body.stem_boxes.len(), 1);
    let axis = body.axis.unwrap();
    assert!(axis.direction.xyz.z < -0.8, "{:?}", axis.direction);
    let stem = body.stem.unwrap();
    assert!(
        (stem.far.xyz - Vector3::new(0.0, 0.5, 0.0324)).norm() < 0.012,
        "{:?}",
        stem.far
    );
    // depth is what one image does not tell
    assert!(stem.far_covariance_m2[(1, 1)] > stem.far_covariance_m2[(0, 0)]);
    assert_eq!(stem.views, 1);
}

#[test]
fn nothing_to_go_by_gives_nothing_and_does_not_fail() {
    let (run, scene) = one_view(Vec::new());
    let alone = attached(&run, scene);
    assert!(alone.bodies[0].axis.is_none() && alone.bodies[0].stem.is_none());
    let (run, mut scene) = one_view(vec![detection(Class::Stem, [10.0, 10.0, 14.0, 40.0], None)]);
    scene.views[0].orchard_from_camera = None;
    assert!(
        attached(&run, scene.clone()).bodies[0]
            .stem_boxes
            .is_empty()
    );
    scene.bodies.clear();
    scene.views.clear();
    assert!(attached(&run, scene).bodies.is_empty());
}
