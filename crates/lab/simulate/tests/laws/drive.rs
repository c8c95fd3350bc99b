//! Poses: their errors, times, passes, and wind.

use crate::common::{boxes, moments, run, small};
use corymb_simulate::spec::{ErrorSpec, Motion, PoseSource};
use corymb_simulate::{SceneSpec, Simulated};
use nalgebra::Vector3;

/// A scene with next to nothing to see and many poses.
fn long_drive(errors: ErrorSpec) -> SceneSpec {
    let mut spec = small(SceneSpec::perfect());
    spec.orchard.limbs_per_tree = [0, 0];
    spec.crop.on_leader = false;
    spec.cameras.truncate(1);
    spec.passes[0].exposures = 4_000;
    spec.passes[0].rate_hz = 10.0;
    spec.errors = errors;
    spec
}

/// Errors of the reported poses in the rig frame: metres and degrees.
fn errors(s: &Simulated) -> Vec<(Vector3<f64>, Vector3<f64>)> {
    let frames = s.run.frames.iter().zip(&s.true_scene.frames);
    frames
        .map(|(f, t)| {
            let error = t.orchard_from_rig.iso.inverse() * f.orchard_from_rig.unwrap().iso;
            (
                error.translation.vector,
                error.rotation.scaled_axis().map(f64::to_degrees),
            )
        })
        .collect()
}

#[test]
fn white_pose_noise_has_its_size() {
    let spec = long_drive(ErrorSpec {
        pose_white_m: 0.007,
        pose_white_deg: 0.2,
        ..ErrorSpec::none()
    });
    let found = errors(&run(&spec, 1));
    for axis in 0..3 {
        let (mean, deviation_m) = moments(&found.iter().map(|e| e.0[axis]).collect::<Vec<_>>());
        assert!(
            mean.abs() < 5e-4 && (deviation_m - 0.007).abs() < 4e-4,
            "{mean} {deviation_m}"
        );
        let (_, deviation_deg) = moments(&found.iter().map(|e| e.1[axis]).collect::<Vec<_>>());
        assert!((deviation_deg - 0.2).abs() < 0.012, "{deviation_deg}");
    }
}

/// The drift's correlation after its correlation time is 1/e.
#[test]
fn drift_has_its_size_and_correlation_time() {
    let spec = long_drive(ErrorSpec {
        pose_drift_m: 0.01,
        pose_drift_s: 1.0,
        ..ErrorSpec::none()
    });
    let found = errors(&run(&spec, 1));
    let mut at_lag = Vec::new();
    let mut at_zero = Vec::new();
    for axis in 0..3 {
        let x: Vec<f64> = found.iter().map(|e| e.0[axis]).collect();
        at_zero.extend(x.iter().map(|v| v * v));
        at_lag.extend(x.windows(11).map(|w| w[0] * w[10]));
    }
    let (variance, _) = moments(&at_zero);
    assert!(
        (variance.sqrt() - 0.01).abs() < 0.001,
        "{}",
        variance.sqrt()
    );
    let correlation = moments(&at_lag).0 / variance;
    assert!(
        (correlation - (-1.0_f64).exp()).abs() < 0.1,
        "{correlation}"
    );
}

#[test]
fn a_trajectory_covers_the_images_and_rises() {
    let mut spec = small(SceneSpec::two_sides());
    spec.errors.poses = PoseSource::Trajectory;
    spec.errors.clock_offset_s = 0.03;
    let s = run(&spec, 1);
    assert!(s.run.frames.iter().all(|f| f.orchard_from_rig.is_none()));
    assert!(s.run.poses.windows(2).all(|w| w[0].time_s < w[1].time_s));
    let (first, last) = (
        s.run.poses[0].time_s,
        s.run.poses[s.run.poses.len() - 1].time_s,
    );
    assert!(
        s.run
            .frames
            .iter()
            .all(|f| first <= f.time_s && f.time_s <= last)
    );
}

/// The pose written on an image is that of its stamp; the image was taken `offset` later.
#[test]
fn a_clock_offset_is_added_to_an_images_time_to_get_the_poses() {
    let mut spec = long_drive(ErrorSpec {
        clock_offset_s: 0.1,
        ..ErrorSpec::none()
    });
    spec.passes[0].exposures = 100;
    if let Motion::AlongRow(m) = &mut spec.passes[0].motion {
        (m.speed_m_s, m.speed_wave, m.sway_mm, m.sway_deg) = (0.5, 0.0, 0.0, 0.0);
    }
    let s = run(&spec, 1);
    for (f, t) in s.run.frames.iter().zip(&s.true_scene.frames) {
        assert!((f.time_s + 0.1 - t.time_s).abs() < 1e-6);
        let ahead = t.orchard_from_rig.origin().xyz - f.orchard_from_rig.unwrap().origin().xyz;
        assert!(
            (ahead - Vector3::new(0.05, 0.0, 0.0)).norm() < 1e-5,
            "{ahead}"
        );
    }
}

#[test]
fn passes_are_off_by_one_rigid_motion_each() {
    let mut spec = small(SceneSpec::two_sides());
    spec.errors = ErrorSpec {
        pass_offset_m: 0.02,
        pass_offset_deg: 0.5,
        ..ErrorSpec::none()
    };
    let s = run(&spec, 1);
    let mut offsets = [Vec::new(), Vec::new()];
    for (f, t) in s.run.frames.iter().zip(&s.true_scene.frames) {
        let offset = f.orchard_from_rig.unwrap().iso * t.orchard_from_rig.iso.inverse();
        offsets[usize::from(f.pass.as_deref() == Some("back"))].push(offset);
    }
    assert!(
        offsets[0]
            .iter()
            .all(|o| o.translation.vector.norm() < 1e-12)
    );
    let first = offsets[1][0];
    assert!(first.rotation.angle() > 1e-4);
    assert!(
        offsets[1]
            .iter()
            .all(|o| (o.to_homogeneous() - first.to_homogeneous()).norm() < 1e-9)
    );
}

#[test]
fn both_sides_are_seen() {
    let s = run(
        &SceneSpec {
            passes: small(SceneSpec::two_sides()).passes,
            ..SceneSpec::two_sides()
        },
        1,
    );
    for (f, t) in s.run.frames.iter().zip(&s.true_scene.frames) {
        let looks = t.orchard_from_camera.iso.rotation * Vector3::z();
        let side = t.orchard_from_rig.origin().xyz.y;
        assert!(looks.y * side < -0.5, "{} looks away from the row", f.id);
        assert!(f.pass.is_some());
    }
}

/// Wind displaces what is seen by what is asked for; the truth is the place at rest.
#[test]
fn wind_sways_boxes_about_the_truth() {
    let mut spec = small(SceneSpec::perfect());
    spec.passes[0].exposures = 40;
    let still = boxes(&run(&spec, 2));
    spec.wind.sway_mm = 3.0;
    let s = run(&spec, 2);
    assert_eq!(
        s.truth.fruitlets,
        run(&small(SceneSpec::perfect()), 2).truth.fruitlets
    );
    let moved = boxes(&s);
    let mut shifts_m = Vec::new();
    for (key, b) in &moved {
        if let (corymb_model::run::Class::Fruitlet, Some(a)) = (key.2, still.get(key)) {
            let at = s.run.frames.iter().position(|f| f.id == key.0).unwrap();
            let camera = &s.run.cameras[s.run.frames[at].camera_idx];
            let z = s.true_scene.frames[at].orchard_from_camera.inverse();
            let z = z.apply(&s.true_scene.bodies[key.1].centre).xyz.z;
            let inside = a[0] > 0.0
                && a[2] < f64::from(camera.width_px)
                && b[0] > 0.0
                && b[2] < f64::from(camera.width_px);
            if inside {
                shifts_m.push(0.5 * (b[0] + b[2] - a[0] - a[2]) / camera.focal_px[0] * z);
            }
        }
    }
    let (mean, deviation_m) = moments(&shifts_m);
    assert!(
        mean.abs() < 1e-3 && (deviation_m - 0.003).abs() < 8e-4,
        "{mean} {deviation_m}"
    );
}

#[test]
fn limbs_of_the_file_are_off_as_asked() {
    let mut spec = small(SceneSpec::perfect());
    spec.orchard.trees_per_row = 20;
    spec.passes[0].exposures = 1;
    spec.errors.limb_m = 0.006;
    let s = run(&spec, 2);
    let filed = s.run.orchard.unwrap();
    let limbs = |o: &corymb_model::orchard::OrchardModel| -> Vec<Vec<Vector3<f64>>> {
        let limbs = o.trees.iter().flat_map(|t| &t.limbs);
        limbs
            .map(|l| l.points.iter().map(|p| p.xyz).collect())
            .collect()
    };
    let (mut all, mut common) = (Vec::new(), Vec::new());
    for (a, b) in limbs(&filed).iter().zip(limbs(&s.true_orchard)) {
        let off: Vec<f64> = a.iter().zip(b).map(|(p, q)| p.x - q.x).collect();
        common.push(moments(&off).0);
        all.extend(off);
    }
    assert!((moments(&all).1 - 0.006).abs() < 7e-4);
    assert!((moments(&common).1 - 0.006 / 2.0_f64.sqrt()).abs() < 1.5e-3);
}

#[test]
fn a_hand_held_camera_keeps_looking_at_its_target() {
    let s = run(&SceneSpec::single_camera_phone(), 4);
    for t in &s.true_scene.frames {
        let to_target = t
            .orchard_from_camera
            .inverse()
            .apply(&corymb_model::Point::new(0.0, 0.0, 1.3))
            .xyz;
        assert!(
            to_target.z > 0.3 && to_target.xy().norm() < 0.45,
            "{to_target}"
        );
        let up = t.orchard_from_camera.iso.rotation * -Vector3::y();
        assert!(up.z > 0.7, "roughly upright");
    }
}

/// Pan turns to the left, tilt upwards, roll clockwise; without them the camera looks along the rig's +y.
#[test]
fn cameras_are_mounted_as_described() {
    let mounted = |pan_deg: f64, tilt_deg: f64, roll_deg: f64| {
        let mut spec = small(SceneSpec::perfect());
        spec.cameras.truncate(1);
        spec.cameras[0].position_m = [0.1, 0.2, 0.3];
        (spec.cameras[0].pan_deg, spec.cameras[0].tilt_deg) = (pan_deg, tilt_deg);
        spec.cameras[0].roll_deg = roll_deg;
        let mount = run(&spec, 1).true_scene.mounts[0];
        assert!((mount.origin().xyz - Vector3::new(0.1, 0.2, 0.3)).norm() < 1e-12);
        mount.iso.rotation
    };
    let near = |a: Vector3<f64>, b: Vector3<f64>| assert!((a - b).norm() < 1e-12, "{a} {b}");
    near(mounted(0.0, 0.0, 0.0) * Vector3::z(), Vector3::y());
    near(mounted(0.0, 0.0, 0.0) * Vector3::y(), -Vector3::z());
    near(mounted(90.0, 0.0, 0.0) * Vector3::z(), -Vector3::x());
    near(mounted(0.0, 90.0, 0.0) * Vector3::z(), Vector3::z());
    near(mounted(0.0, 0.0, 90.0) * Vector3::x(), -Vector3::z());
}
