//! Small motions of rigid transforms, and the pose between two poses.
//!
//! One convention throughout: a twist is xi = (rho, phi), translation first, metres and radians, and it perturbs a
//! pose on the *left*, exp(xi) target_from_source, so it is a motion in the target frame. Formulas: Sola, Deray and
//! Atchuthan, "A micro Lie theory for state estimation in robotics", 2018, appendix D, and Barfoot, "State
//! Estimation for Robotics", 2017, ch. 7 (whose order of components is ours).

use corymb_model::Pose;
use corymb_model::frames::{Orchard, Rig};
use corymb_model::run::TimedPose;
use nalgebra::{
    Isometry3, Matrix3, Matrix3x6, Matrix6, Quaternion, Translation3, UnitQuaternion, Vector3,
    Vector6,
};
use thiserror::Error;

/// Angle under which the coefficients come from their series: the terms left out are below 1e-17 there.
const SERIES_ANGLE_RAD: f64 = 1e-2;

/// The matrix of v x.
#[must_use]
pub fn skew(v: &Vector3<f64>) -> Matrix3<f64> {
    v.cross_matrix()
}

/// The rigid motion of a twist.
#[must_use]
pub fn exp(xi: &Vector6<f64>) -> Isometry3<f64> {
    let (rho, phi) = parts(xi);
    Isometry3::from_parts(
        Translation3::from(left_jacobian_so3(&phi) * rho),
        rotation_of(&phi),
    )
}

/// The twist of a rigid motion, with a rotation of at most half a turn.
#[must_use]
pub fn log(motion: &Isometry3<f64>) -> Vector6<f64> {
    let phi = rotation_vector(&motion.rotation);
    let rho = left_jacobian_so3_inverse(&phi) * motion.translation.vector;
    Vector6::new(rho.x, rho.y, rho.z, phi.x, phi.y, phi.z)
}

/// The matrix Ad with exp(Ad xi) = motion exp(xi) motion^-1: it takes a twist of the source frame to the target
/// frame.
#[must_use]
pub fn adjoint(motion: &Isometry3<f64>) -> Matrix6<f64> {
    let r = motion.rotation.to_rotation_matrix().into_inner();
    blocks(&r, &(skew(&motion.translation.vector) * r), &r)
}

/// exp(xi) pose: the pose moved by the twist in its target frame.
#[must_use]
pub fn perturb<T, S>(pose: &Pose<T, S>, xi: &Vector6<f64>) -> Pose<T, S> {
    let mut iso = exp(xi) * pose.iso;
    iso.rotation.renormalize();
    Pose::from_isometry(iso)
}

/// The twist xi with exp(xi) from = to.
#[must_use]
pub fn difference<T, S>(to: &Pose<T, S>, from: &Pose<T, S>) -> Vector6<f64> {
    log(&(to.iso * from.iso.inverse()))
}

/// Derivative of exp(xi) p by xi at zero, for a point p in the target frame: [I, -p x].
#[must_use]
pub fn point_jacobian(p_in_target: &Vector3<f64>) -> Matrix3x6<f64> {
    let mut out = Matrix3x6::zeros();
    out.fixed_view_mut::<3, 3>(0, 0).fill_with_identity();
    out.fixed_view_mut::<3, 3>(0, 3)
        .copy_from(&-skew(p_in_target));
    out
}

/// The left Jacobian of rotations: exp(phi + d) = exp(J d) exp(phi) to first order.
#[must_use]
pub fn left_jacobian_so3(phi: &Vector3<f64>) -> Matrix3<f64> {
    let c = Coefficients::at(phi.norm());
    let k = skew(phi);
    Matrix3::identity() + k * c.half + k * k * c.sixth
}

/// The inverse of [`left_jacobian_so3`]; singular at a full turn only.
#[must_use]
pub fn left_jacobian_so3_inverse(phi: &Vector3<f64>) -> Matrix3<f64> {
    let angle = phi.norm();
    let k = skew(phi);
    let square = if angle < SERIES_ANGLE_RAD {
        let s = angle * angle;
        1.0 / 12.0 + s / 720.0 + s * s / 30_240.0
    } else {
        let half = 0.5 * angle;
        (1.0 - half * half.cos() / half.sin()) / (angle * angle)
    };
    Matrix3::identity() - k * 0.5 + k * k * square
}

/// The left Jacobian of rigid motions: exp(xi + d) = exp(J d) exp(xi) to first order (Barfoot eq. 7.83 to 7.86).
#[must_use]
pub fn left_jacobian(xi: &Vector6<f64>) -> Matrix6<f64> {
    let (_, phi) = parts(xi);
    let j = left_jacobian_so3(&phi);
    blocks(&j, &coupling(xi), &j)
}

/// The inverse of [`left_jacobian`].
#[must_use]
pub fn left_jacobian_inverse(xi: &Vector6<f64>) -> Matrix6<f64> {
    let (_, phi) = parts(xi);
    let j = left_jacobian_so3_inverse(&phi);
    blocks(&j, &(-(j * coupling(xi) * j)), &j)
}

/// Why there is no pose at a time.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum InterpolateError {
    /// There is no pose at all.
    #[error("there are no poses")]
    NoPoses,
    /// The time lies too far outside the trajectory (which, of a single pose, is its own time alone).
    #[error("time {time_s} s lies {outside_s} s outside the poses, more than {limit_s} s")]
    Outside {
        /// The time asked for.
        time_s: f64,
        /// How far before the first pose or after the last.
        outside_s: f64,
        /// How far would be allowed.
        limit_s: f64,
    },
    /// The time is not a number.
    #[error("the time is not finite")]
    NonFinite,
}

/// The pose at `time_s`: linear in the translation, spherical-linear in the rotation, going on from the two
/// nearest poses for up to `max_extrapolation_s` beyond either end. `poses` ascend strictly in time. O(log n).
///
/// # Errors
/// No poses, a time too far outside, or one that is not finite.
pub fn interpolate(
    poses: &[TimedPose],
    time_s: f64,
    max_extrapolation_s: f64,
) -> Result<Pose<Orchard, Rig>, InterpolateError> {
    let (Some(first), Some(last)) = (poses.first(), poses.last()) else {
        return Err(InterpolateError::NoPoses);
    };
    if !time_s.is_finite() {
        return Err(InterpolateError::NonFinite);
    }
    let outside_s = (first.time_s - time_s).max(time_s - last.time_s).max(0.0);
    let limit_s = if poses.len() < 2 {
        0.0
    } else {
        max_extrapolation_s
    };
    if outside_s > limit_s {
        return Err(InterpolateError::Outside {
            time_s,
            outside_s,
            limit_s,
        });
    }
    let after = poses
        .partition_point(|pose| pose.time_s <= time_s)
        .clamp(1, poses.len().max(2) - 1);
    match (poses.get(after - 1), poses.get(after)) {
        (Some(a), Some(b)) => Ok(between(a, b, time_s)),
        _ => Ok(first.orchard_from_rig),
    }
}

fn between(a: &TimedPose, b: &TimedPose, time_s: f64) -> Pose<Orchard, Rig> {
    let share = (time_s - a.time_s) / (b.time_s - a.time_s);
    let (from, to) = (&a.orchard_from_rig.iso, &b.orchard_from_rig.iso);
    let translation = from.translation.vector.lerp(&to.translation.vector, share);
    let turn = rotation_vector(&(to.rotation * from.rotation.inverse()));
    let mut rotation = rotation_of(&(turn * share)) * from.rotation;
    rotation.renormalize();
    Pose::from_isometry(Isometry3::from_parts(translation.into(), rotation))
}

fn parts(xi: &Vector6<f64>) -> (Vector3<f64>, Vector3<f64>) {
    (
        xi.fixed_rows::<3>(0).into_owned(),
        xi.fixed_rows::<3>(3).into_owned(),
    )
}

fn blocks(upper: &Matrix3<f64>, right: &Matrix3<f64>, lower: &Matrix3<f64>) -> Matrix6<f64> {
    let mut out = Matrix6::zeros();
    out.fixed_view_mut::<3, 3>(0, 0).copy_from(upper);
    out.fixed_view_mut::<3, 3>(0, 3).copy_from(right);
    out.fixed_view_mut::<3, 3>(3, 3).copy_from(lower);
    out
}

/// exp of a rotation vector, accurate for small ones too.
fn rotation_of(phi: &Vector3<f64>) -> UnitQuaternion<f64> {
    let half = 0.5 * phi.norm();
    let sinc = if half < 0.5 * SERIES_ANGLE_RAD {
        let s = half * half;
        1.0 - s / 6.0 + s * s / 120.0
    } else {
        half.sin() / half
    };
    UnitQuaternion::new_normalize(Quaternion::from_parts(half.cos(), phi * (0.5 * sinc)))
}

/// log of a rotation, of at most half a turn; atan2 keeps its digits at both ends.
fn rotation_vector(rotation: &UnitQuaternion<f64>) -> Vector3<f64> {
    let sign = if rotation.w < 0.0 { -1.0 } else { 1.0 };
    let (w, v) = (rotation.w * sign, rotation.imag() * sign);
    let sin = v.norm();
    // 2 atan(sin / w) / sin, with its limit where sin vanishes
    let scale = if sin < 1e-9 {
        2.0 / w
    } else {
        2.0 * sin.atan2(w) / sin
    };
    v * scale
}

/// Coefficients of the exponential's series in an angle a: their names are the values at a = 0.
struct Coefficients {
    /// (1 - cos a) / a^2.
    half: f64,
    /// (a - sin a) / a^3.
    sixth: f64,
    /// (a^2 / 2 + cos a - 1) / a^4.
    twenty_fourth: f64,
    /// (a - sin a - a^3 / 6) / a^5, negative: -1/120 at 0.
    minus_120th: f64,
}

impl Coefficients {
    fn at(angle: f64) -> Self {
        let s = angle * angle;
        if angle < SERIES_ANGLE_RAD {
            return Coefficients {
                half: 0.5 - s / 24.0 + s * s / 720.0,
                sixth: 1.0 / 6.0 - s / 120.0 + s * s / 5_040.0,
                twenty_fourth: 1.0 / 24.0 - s / 720.0 + s * s / 40_320.0,
                minus_120th: -1.0 / 120.0 + s / 5_040.0 - s * s / 362_880.0,
            };
        }
        let (sin, cos) = angle.sin_cos();
        Coefficients {
            half: (1.0 - cos) / s,
            sixth: (angle - sin) / (s * angle),
            twenty_fourth: (0.5 * s + cos - 1.0) / (s * s),
            minus_120th: (angle - sin - s * angle / 6.0) / (s * s * angle),
        }
    }
}

/// The upper right block of the left Jacobian (Barfoot eq. 7.86b).
fn coupling(xi: &Vector6<f64>) -> Matrix3<f64> {
    let (rho, phi) = parts(xi);
    let c = Coefficients::at(phi.norm());
    let (r, p) = (skew(&rho), skew(&phi));
    let (pr, rp) = (p * r, r * p);
    let prp = pr * p;
    r * 0.5
        + (pr + rp + prp) * c.sixth
        + (p * pr + rp * p - prp * 3.0) * c.twenty_fourth
        + (prp * p + p * prp) * (0.5 * (c.twenty_fourth + 3.0 * c.minus_120th))
}
