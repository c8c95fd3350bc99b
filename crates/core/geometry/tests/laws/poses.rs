//! Motions against SciPy, laws of the group, derivatives, interpolation.

use crate::common::{numeric_jacobian, reference, relative_gap};
use corymb_geometry::poses::{
    InterpolateError, adjoint, difference, exp, interpolate, left_jacobian, left_jacobian_inverse,
    log, perturb, point_jacobian,
};
use corymb_model::Pose;
use corymb_model::frames::{Orchard, Rig};
use corymb_model::run::TimedPose;
use nalgebra::{
    DMatrix, DVector, Isometry3, Matrix6, Quaternion, UnitQuaternion, Vector3, Vector6,
};
use proptest::prelude::*;
use serde::Deserialize;

#[derive(Deserialize)]
struct Stored {
    tolerance: f64,
    exponentials: Vec<Exponential>,
    slerps: Vec<Slerp>,
}

#[derive(Deserialize)]
struct Exponential {
    twist: [f64; 6],
    matrix: [[f64; 4]; 4],
}

#[derive(Deserialize)]
struct Slerp {
    from_xyzw: [f64; 4],
    to_xyzw: [f64; 4],
    share: f64,
    at_xyzw: [f64; 4],
}

fn quaternion([x, y, z, w]: [f64; 4]) -> UnitQuaternion<f64> {
    UnitQuaternion::new_normalize(Quaternion::new(w, x, y, z))
}

fn timed(time_s: f64, iso: Isometry3<f64>) -> TimedPose {
    TimedPose {
        time_s,
        orchard_from_rig: Pose::from_isometry(iso),
    }
}

fn motion() -> impl Strategy<Value = Isometry3<f64>> {
    twist(3.1).prop_map(|xi| exp(&xi))
}

/// Twists with a rotation of up to `most`, small ones often.
fn twist(most: f64) -> impl Strategy<Value = Vector6<f64>> {
    let angle = prop_oneof![
        0.0..most,
        (-12.0..0.0f64).prop_map(|e| 10f64.powf(e)),
        0.009..0.011f64
    ];
    (
        prop::array::uniform3(-2.0..2.0f64),
        prop::array::uniform3(-1.0..1.0f64),
        angle,
    )
        .prop_filter_map("no axis", |(rho, axis, angle)| {
            let phi = Vector3::from(axis).try_normalize(1e-3)? * angle;
            Some(Vector6::new(rho[0], rho[1], rho[2], phi.x, phi.y, phi.z))
        })
}

fn dynamic(m: &Matrix6<f64>) -> DMatrix<f64> {
    DMatrix::from_column_slice(6, 6, m.as_slice())
}

fn vector6(x: &DVector<f64>) -> Vector6<f64> {
    Vector6::from_column_slice(x.as_slice())
}

#[test]
fn agree_with_scipy() {
    let stored: Stored = reference("poses.json");
    assert!(stored.exponentials.len() > 10 && stored.slerps.len() > 10);
    for case in &stored.exponentials {
        let xi = Vector6::from(case.twist);
        let got = exp(&xi).to_homogeneous();
        for row in 0..4 {
            for col in 0..4 {
                assert!(
                    (got[(row, col)] - case.matrix[row][col]).abs() < stored.tolerance,
                    "{xi} {got}"
                );
            }
        }
        // near half a turn the logarithm loses what the sine does
        assert!((log(&exp(&xi)) - xi).amax() < 1e-11, "{xi}");
    }
    for case in &stored.slerps {
        let place = |q| Isometry3::from_parts(Vector3::zeros().into(), quaternion(q));
        let poses = [
            timed(2.0, place(case.from_xyzw)),
            timed(4.0, place(case.to_xyzw)),
        ];
        let got = interpolate(&poses, 2.0 + 2.0 * case.share, 0.0).unwrap();
        assert!(got.iso.rotation.angle_to(&quaternion(case.at_xyzw)) < 1e-7);
        let gap = (got.iso.rotation.inverse() * quaternion(case.at_xyzw))
            .imag()
            .norm();
        assert!(gap < stored.tolerance, "{gap}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn log_inverts_exp(xi in twist(3.1)) {
        prop_assert!((log(&exp(&xi)) - xi).amax() < 1e-11, "{}", log(&exp(&xi)) - xi);
    }

    #[test]
    fn the_adjoint_moves_a_twist_across_a_motion(m in motion(), xi in twist(2.0)) {
        let across = m * exp(&xi) * m.inverse();
        let by_adjoint = exp(&(adjoint(&m) * xi));
        prop_assert!((across.to_homogeneous() - by_adjoint.to_homogeneous()).amax() < 1e-9);
    }

    #[test]
    fn perturb_and_difference_are_inverse(m in motion(), xi in twist(2.0)) {
        let pose = Pose::<Orchard, Rig>::from_isometry(m);
        let moved = perturb(&pose, &xi);
        prop_assert!((difference(&moved, &pose) - xi).amax() < 1e-9);
    }

    #[test]
    fn the_left_jacobian_matches_differences(xi in twist(3.0)) {
        // exp(xi + d) exp(xi)^-1 = exp(J d)
        let f = |x: &DVector<f64>| {
            let d = log(&(exp(&vector6(x)) * exp(&xi).inverse()));
            DVector::from_column_slice(d.as_slice())
        };
        let numeric = numeric_jacobian(f, xi.as_slice(), 1e-5);
        prop_assert!(relative_gap(&dynamic(&left_jacobian(&xi)), &numeric) < 1e-7, "{}", numeric);
        let product = left_jacobian(&xi) * left_jacobian_inverse(&xi);
        prop_assert!((product - Matrix6::identity()).amax() < 1e-9);
    }

    #[test]
    fn the_point_jacobian_matches_differences(p in prop::array::uniform3(-3.0..3.0f64)) {
        let p = Vector3::from(p);
        let f = |x: &DVector<f64>| {
            let moved = exp(&vector6(x)).transform_point(&p.into());
            DVector::from_column_slice(moved.coords.as_slice())
        };
        let numeric = numeric_jacobian(f, &[0.0; 6], 1e-5);
        let exact = DMatrix::from_column_slice(3, 6, point_jacobian(&p).as_slice());
        prop_assert!(relative_gap(&exact, &numeric) < 1e-8);
    }

    #[test]
    fn interpolation_is_the_same_from_either_end_and_in_any_frame(a in motion(), by in twist(2.9), f in motion(), share in 0.0..1.0f64) {
        let b = exp(&by) * a;
        let forward = interpolate(&[timed(0.0, a), timed(1.0, b)], share, 0.0).unwrap();
        let backward = interpolate(&[timed(0.0, b), timed(1.0, a)], 1.0 - share, 0.0).unwrap();
        prop_assert!((forward.iso.to_homogeneous() - backward.iso.to_homogeneous()).amax() < 1e-9);
        let moved = interpolate(&[timed(0.0, f * a), timed(1.0, f * b)], share, 0.0).unwrap();
        prop_assert!((moved.iso.to_homogeneous() - (f * forward.iso).to_homogeneous()).amax() < 1e-9);
    }

    #[test]
    fn a_steady_motion_is_found_at_every_time_within_reach(
        start in motion(), velocity in prop::array::uniform3(-1.0..1.0f64), turn in prop::array::uniform3(-0.5..0.5f64),
        time_s in -0.05..2.05f64,
    ) {
        let at = |t: f64| Isometry3::from_parts(
            (start.translation.vector + Vector3::from(velocity) * t).into(),
            UnitQuaternion::from_scaled_axis(Vector3::from(turn) * t) * start.rotation,
        );
        let poses: Vec<TimedPose> = [0.0, 0.3, 0.5, 1.4, 2.0].map(|t| timed(t, at(t))).to_vec();
        let got = interpolate(&poses, time_s, 0.05).unwrap();
        prop_assert!((got.iso.to_homogeneous() - at(time_s).to_homogeneous()).amax() < 1e-9);
    }
}

#[test]
fn a_time_on_a_pose_gives_that_pose() {
    let isos = [0.1, 0.2, 0.3].map(|x| exp(&Vector6::new(x, 0.0, 1.0, x, -x, 0.4)));
    let poses = [
        timed(1.0, isos[0]),
        timed(2.0, isos[1]),
        timed(3.5, isos[2]),
    ];
    for pose in &poses {
        let got = interpolate(&poses, pose.time_s, 0.0).unwrap();
        assert!(
            (got.iso.to_homogeneous() - pose.orchard_from_rig.iso.to_homogeneous()).amax() < 1e-14
        );
    }
}

#[test]
fn times_out_of_reach_are_refused_with_the_distance() {
    let poses = [
        timed(1.0, Isometry3::identity()),
        timed(2.0, Isometry3::translation(1.0, 0.0, 0.0)),
    ];
    let ok = interpolate(&poses, 2.04, 0.05).unwrap();
    assert!((ok.iso.translation.x - 1.04).abs() < 1e-12);
    let ok = interpolate(&poses, 0.96, 0.05).unwrap();
    assert!((ok.iso.translation.x + 0.04).abs() < 1e-12);
    for time_s in [0.9, 2.1] {
        match interpolate(&poses, time_s, 0.05) {
            Err(InterpolateError::Outside {
                outside_s, limit_s, ..
            }) => {
                assert!((outside_s - 0.1).abs() < 1e-12 && limit_s == 0.05);
            }
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(interpolate(&[], 1.0, 0.05), Err(InterpolateError::NoPoses));
    assert_eq!(
        interpolate(&poses, f64::NAN, 0.05),
        Err(InterpolateError::NonFinite)
    );
    // one pose has no velocity: it holds at its own time alone
    assert!(interpolate(&poses[..1], 1.0, 0.05).is_ok());
    assert!(matches!(
        interpolate(&poses[..1], 1.01, 0.05),
        Err(InterpolateError::Outside { .. })
    ));
}
