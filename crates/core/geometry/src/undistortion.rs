//! The inverse of the distortion functions.

use crate::distortion::{self, Model};
use nalgebra::Vector2;

/// Newton stops when a step is shorter than this on the normalised plane: the convergence is quadratic, so the
/// point that it leads to is then good to rounding.
const LAST_STEP: f64 = 1e-7;
/// What is left over of a distorted angle, relative to it, at an angle that counts as found: rounding.
const ANGLE_RESIDUAL: f64 = 4.0 * f64::EPSILON;
/// What is left over, in units of the normalised plane, at a point that counts as found.
const RESIDUAL: f64 = 1e-12;
/// Steps of the plain Newton iteration, which needs three to six for common lenses.
const NEWTON_STEPS: usize = 12;
/// Steps of the safeguarded iterations.
const SAFE_STEPS: usize = 100;
/// How often one of them is halved before the iteration counts as stuck.
const HALVINGS: usize = 40;
/// Determinant of the Jacobian, over that of a pure scaling of the same trace, below which the model is about to fold.
const FOLDED: f64 = 1e-3;
/// How near the end of the domain, relatively, an iteration counts as having run into it.
const AT_END: f64 = 1e-6;

/// Where a model is invertible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Domain {
    /// Radius on the normalised plane up to which the radial function rises.
    pub(crate) radius: f64,
    /// Angle off the axis up to which it does.
    pub(crate) angle: f64,
}

/// Why a distorted point has no ray.
pub(crate) enum NoRay {
    /// None within the domain falls on it.
    OutsideModel,
    /// The iteration did not settle; `left` is the distance on the distorted plane.
    NoConvergence { left: f64 },
}

/// The point that the model takes to `d`.
#[inline]
pub(crate) fn invert(
    model: &Model,
    domain: &Domain,
    d: &Vector2<f64>,
) -> Result<Vector2<f64>, NoRay> {
    match model {
        Model::Ideal => Ok(*d),
        Model::Polynomial { .. } => match newton(model, domain, d) {
            Some(n) => Ok(n),
            None => invert_safely(model, domain, d),
        },
        Model::Equidistant(k) => invert_angle(k, domain, d),
    }
}

/// Plain Newton from `d` itself; `None` where it leaves the domain or does not settle.
fn newton(model: &Model, domain: &Domain, d: &Vector2<f64>) -> Option<Vector2<f64>> {
    let mut n = *d;
    for _ in 0..NEWTON_STEPS {
        let step = newton_step(model, d, &n)?;
        n -= step;
        if n.norm_squared() > domain.radius * domain.radius {
            return None;
        }
        if step.norm_squared() < LAST_STEP * LAST_STEP {
            return Some(n);
        }
    }
    None
}

/// Newton from the solution of the radial part, each step shortened until it brings the image nearer.
fn invert_safely(model: &Model, domain: &Domain, d: &Vector2<f64>) -> Result<Vector2<f64>, NoRay> {
    let length = d.norm();
    let mut n = d * (invert_radial(model, domain, length) / length.max(f64::MIN_POSITIVE));
    let mut left = (model.apply(&n) - d).norm();
    let mut stuck = false;
    for _ in 0..SAFE_STEPS {
        if left <= RESIDUAL * (1.0 + length) {
            return Ok(n);
        }
        match shortened_step(model, domain, d, &n, left) {
            Some(next) => (n, left) = next,
            None => {
                stuck = true;
                break;
            }
        }
    }
    // a Newton step always leads nearer, unless the model folds here or ends
    let at_end = n.norm() > domain.radius * (1.0 - AT_END);
    if stuck || at_end || relative_determinant(model, &n) < FOLDED {
        return Err(NoRay::OutsideModel);
    }
    Err(NoRay::NoConvergence { left })
}

/// The first point on the way of a Newton step, halved again and again, that is nearer, and what is left there.
fn shortened_step(
    model: &Model,
    domain: &Domain,
    d: &Vector2<f64>,
    n: &Vector2<f64>,
    left: f64,
) -> Option<(Vector2<f64>, f64)> {
    let mut step = newton_step(model, d, n)?;
    for _ in 0..HALVINGS {
        let next = n - step;
        let next_left = (model.apply(&next) - d).norm();
        if next_left < left && next.norm() <= domain.radius {
            return Some((next, next_left));
        }
        step *= 0.5;
    }
    None
}

/// The radius whose radial image is `length`, or the end of the domain where there is none.
fn invert_radial(model: &Model, domain: &Domain, length: f64) -> f64 {
    let (mut low, mut high) = (0.0, domain.radius.min(distortion::LARGEST_RADIUS));
    for _ in 0..SAFE_STEPS {
        let middle = 0.5 * (low + high);
        if model.radial(middle) < length {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// The equidistant model is radial only: Newton on the angle, kept in a bracket.
fn invert_angle(k: &[f64; 4], domain: &Domain, d: &Vector2<f64>) -> Result<Vector2<f64>, NoRay> {
    let length = d.norm();
    if length == 0.0 {
        return Ok(*d);
    }
    let (mut low, mut high) = (0.0, domain.angle);
    if length >= distortion::theta_distorted(k, high).0 {
        return Err(NoRay::OutsideModel);
    }
    let mut theta = length.min(0.5 * high);
    for _ in 0..SAFE_STEPS {
        let (value, slope) = distortion::theta_distorted(k, theta);
        let left = value - length;
        if left.abs() <= ANGLE_RESIDUAL * length {
            break;
        }
        if left > 0.0 {
            high = theta;
        } else {
            low = theta;
        }
        let newton = theta - left / slope;
        theta = if newton > low && newton < high {
            newton
        } else {
            0.5 * (low + high)
        };
    }
    Ok(d * (theta.tan() / length))
}

/// Inverse Jacobian times residual; `None` where the Jacobian is singular or turns the plane over.
#[inline]
fn newton_step(model: &Model, d: &Vector2<f64>, n: &Vector2<f64>) -> Option<Vector2<f64>> {
    let (value, j) = model.apply_with_jacobian(n);
    let det = j.m11 * j.m22 - j.m12 * j.m21;
    if !(det > 0.0 && det.is_finite()) {
        return None;
    }
    let e = value - d;
    Some(Vector2::new(
        (j.m22 * e.x - j.m12 * e.y) / det,
        (j.m11 * e.y - j.m21 * e.x) / det,
    ))
}

/// Determinant of the Jacobian over that of a pure scaling with the same trace: 1 at the axis, 0 at a fold.
fn relative_determinant(model: &Model, n: &Vector2<f64>) -> f64 {
    let (_, j) = model.apply_with_jacobian(n);
    let half_trace = 0.5 * (j.m11 + j.m22);
    (j.m11 * j.m22 - j.m12 * j.m21) / (half_trace * half_trace)
}
