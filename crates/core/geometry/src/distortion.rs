//! The distortion functions on the normalised image plane, their derivatives, and where they fold back.
//!
//! Formulas: the plumb-bob and the rational model as in the OpenCV manual, "Camera Calibration and 3D
//! Reconstruction" (Brown 1966; Claus and Fitzgibbon 2005 for the quotient); the equidistant polynomial after
//! Kannala and Brandt, "A generic camera model and calibration method for conventional, wide-angle, and fish-eye
//! lenses", PAMI 2006, eq. 6, without its asymmetric terms.

use crate::polynomial;
use corymb_model::run::Distortion;
use nalgebra::{Matrix2, Vector2};
use std::f64::consts::FRAC_PI_2;

/// Largest radius on the normalised plane for which a polynomial model is believed, about 89.94 degrees off axis.
pub(crate) const LARGEST_RADIUS: f64 = 1e3;

/// Below this radius the equidistant model is its own series: theta / r would lose all digits.
const SERIES_RADIUS: f64 = 1e-8;

/// A distortion in the form in which it is computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Model {
    /// An ideal lens.
    Ideal,
    /// Radial quotient of two cubics in r^2, and two tangential coefficients.
    Polynomial {
        num: [f64; 3],
        den: [f64; 3],
        p: [f64; 2],
    },
    /// Odd polynomial in the angle off the axis.
    Equidistant([f64; 4]),
}

impl Model {
    /// From the coefficients in the order of the ROS `CameraInfo` message; all zero is the ideal lens where the
    /// model says so.
    pub(crate) fn new(distortion: &Distortion) -> Self {
        let polynomial = |num: [f64; 3], den: [f64; 3], p: [f64; 2]| {
            if num.iter().chain(&den).chain(&p).all(|k| *k == 0.0) {
                Model::Ideal
            } else {
                Model::Polynomial { num, den, p }
            }
        };
        match *distortion {
            Distortion::None => Model::Ideal,
            Distortion::PlumbBob([k1, k2, p1, p2, k3]) => {
                polynomial([k1, k2, k3], [0.0; 3], [p1, p2])
            }
            Distortion::RationalPolynomial([k1, k2, p1, p2, k3, k4, k5, k6]) => {
                polynomial([k1, k2, k3], [k4, k5, k6], [p1, p2])
            }
            Distortion::Equidistant(k) => Model::Equidistant(k),
        }
    }

    /// The radius on the normalised plane up to which the radial function rises, where it is therefore invertible;
    /// infinite where it never folds back.
    pub(crate) fn radius_limit(&self) -> f64 {
        match self {
            Model::Ideal => f64::INFINITY,
            Model::Polynomial { num, den, .. } => polynomial_limit(num, den),
            Model::Equidistant(k) => {
                let theta = angle_limit(k);
                if theta < FRAC_PI_2 {
                    theta.tan()
                } else {
                    f64::INFINITY
                }
            }
        }
    }

    /// The distorted point.
    #[inline]
    pub(crate) fn apply(&self, n: &Vector2<f64>) -> Vector2<f64> {
        match self {
            Model::Ideal => *n,
            Model::Polynomial { num, den, p } => {
                let s = n.norm_squared();
                n * (cubic(num, s) / cubic(den, s)) + tangential(p, n, s)
            }
            Model::Equidistant(k) => n * theta_scale(k, n.norm()).0,
        }
    }

    /// The distorted point and its derivative by the undistorted one (which is symmetric in all models).
    #[inline]
    pub(crate) fn apply_with_jacobian(&self, n: &Vector2<f64>) -> (Vector2<f64>, Matrix2<f64>) {
        match self {
            Model::Ideal => (*n, Matrix2::identity()),
            Model::Polynomial { num, den, p } => {
                let s = n.norm_squared();
                let d = cubic(den, s);
                let radial = cubic(num, s) / d;
                let slope = 2.0 * (cubic_slope(num, s) - radial * cubic_slope(den, s)) / d;
                let (x, y) = (n.x, n.y);
                let cross = slope * x * y + 2.0 * (p[0] * x + p[1] * y);
                let jacobian = Matrix2::new(
                    radial + slope * x * x + 2.0 * p[0] * y + 6.0 * p[1] * x,
                    cross,
                    cross,
                    radial + slope * y * y + 6.0 * p[0] * y + 2.0 * p[1] * x,
                );
                (n * radial + tangential(p, n, s), jacobian)
            }
            Model::Equidistant(k) => {
                let (scale, slope_over_r) = theta_scale(k, n.norm());
                let cross = slope_over_r * n.x * n.y;
                let jacobian = Matrix2::new(
                    scale + slope_over_r * n.x * n.x,
                    cross,
                    cross,
                    scale + slope_over_r * n.y * n.y,
                );
                (n * scale, jacobian)
            }
        }
    }

    /// The radial function alone, at radius `r`.
    pub(crate) fn radial(&self, r: f64) -> f64 {
        match self {
            Model::Ideal => r,
            Model::Polynomial { num, den, .. } => r * cubic(num, r * r) / cubic(den, r * r),
            Model::Equidistant(k) => theta_distorted(k, r.atan()).0,
        }
    }
}

/// 1 + k0 s + k1 s^2 + k2 s^3.
fn cubic(k: &[f64; 3], s: f64) -> f64 {
    1.0 + s * (k[0] + s * (k[1] + s * k[2]))
}

/// Derivative of [`cubic`] by s.
fn cubic_slope(k: &[f64; 3], s: f64) -> f64 {
    k[0] + s * (2.0 * k[1] + 3.0 * s * k[2])
}

fn tangential(p: &[f64; 2], n: &Vector2<f64>, s: f64) -> Vector2<f64> {
    let xy2 = 2.0 * n.x * n.y;
    Vector2::new(
        p[0] * xy2 + p[1] * (s + 2.0 * n.x * n.x),
        p[0] * (s + 2.0 * n.y * n.y) + p[1] * xy2,
    )
}

/// The distorted angle and its derivative at `theta`.
pub(crate) fn theta_distorted(k: &[f64; 4], theta: f64) -> (f64, f64) {
    let s = theta * theta;
    let value = theta * (1.0 + s * (k[0] + s * (k[1] + s * (k[2] + s * k[3]))));
    let slope = 1.0 + s * (3.0 * k[0] + s * (5.0 * k[1] + s * (7.0 * k[2] + s * 9.0 * k[3])));
    (value, slope)
}

/// theta_d / r, and its derivative by r divided by r.
fn theta_scale(k: &[f64; 4], r: f64) -> (f64, f64) {
    if r < SERIES_RADIUS {
        return (1.0, 2.0 * (k[0] - 1.0 / 3.0));
    }
    let (theta_d, slope) = theta_distorted(k, r.atan());
    let scale = theta_d / r;
    (scale, (slope / (1.0 + r * r) - scale) / (r * r))
}

/// Up to which angle the distorted angle rises, at most a right angle.
pub(crate) fn angle_limit(k: &[f64; 4]) -> f64 {
    let slope = [1.0, 3.0 * k[0], 5.0 * k[1], 7.0 * k[2], 9.0 * k[3]];
    let roots = polynomial::sign_changes(&slope, 0.0, FRAC_PI_2 * FRAC_PI_2);
    roots.first().map_or(FRAC_PI_2, |s| s.sqrt())
}

/// With r N(s) / D(s), s = r^2, the slope's sign is that of N D + 2 s (N' D - N D'); a pole of D ends the model too.
fn polynomial_limit(num: &[f64; 3], den: &[f64; 3]) -> f64 {
    let n = [1.0, num[0], num[1], num[2]];
    let d = [1.0, den[0], den[1], den[2]];
    let slope_2s = |k: &[f64; 3]| [0.0, 2.0 * k[0], 4.0 * k[1], 6.0 * k[2]];
    let mut slope = polynomial::product(&n, &d);
    let up = polynomial::product(&slope_2s(num), &d);
    let down = polynomial::product(&n, &slope_2s(den));
    for ((slot, a), b) in slope.iter_mut().zip(&up).zip(&down) {
        *slot += a - b;
    }
    let high = LARGEST_RADIUS * LARGEST_RADIUS;
    let fold = polynomial::sign_changes(&slope, 0.0, high);
    let pole = polynomial::sign_changes(&d, 0.0, high);
    fold.first()
        .into_iter()
        .chain(pole.first())
        .fold(high, |least, s| least.min(*s))
        .sqrt()
}
