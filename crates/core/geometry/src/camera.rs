//! A lens: between rays of the camera frame and pixels, both ways, with derivatives.

use crate::distortion::{self, Model};
use corymb_model::run::Camera;
use nalgebra::{Matrix2, Matrix2x3, Vector2, Vector3};
use thiserror::Error;

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

/// Why a point has no image.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum ProjectError {
    /// The point does not lie in front of the camera.
    #[error("the point lies at z = {z_m} m, not in front of the camera")]
    BehindCamera {
        /// Its z in the camera frame.
        z_m: f64,
    },
    /// The ray is further off the axis than the distortion model is invertible.
    #[error(
        "the ray leaves the lens model: tan of the angle off axis {radius}, the model folds back at {limit}"
    )]
    OutsideModel {
        /// Radius on the normalised plane: tangent of the angle off the axis.
        radius: f64,
        /// Radius where the radial function stops rising.
        limit: f64,
    },
    /// The point, or its image, is not finite.
    #[error("the point or its image is not finite")]
    NonFinite,
}

/// Why a pixel has no ray.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum UndistortError {
    /// No ray within the invertible part of the model falls on this pixel.
    #[error(
        "no ray of the lens model meets pixel ({x_px}, {y_px}): it folds back at tan of the angle {limit}"
    )]
    OutsideModel {
        /// The pixel.
        x_px: f64,
        /// The pixel.
        y_px: f64,
        /// Radius on the normalised plane where the radial function stops rising.
        limit: f64,
    },
    /// The iteration did not settle.
    #[error("undistorting ({x_px}, {y_px}) did not converge: {residual_px} px are left")]
    NoConvergence {
        /// The pixel.
        x_px: f64,
        /// The pixel.
        y_px: f64,
        /// How far the image of the last ray lies from it.
        residual_px: f64,
    },
    /// The pixel is not finite.
    #[error("the pixel is not finite")]
    NonFinite,
}

/// Intrinsics of one camera, ready to compute with.
///
/// Built once for a camera; finding where the distortion folds back costs some microseconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    focal_px: Vector2<f64>,
    principal_px: Vector2<f64>,
    width_px: f64,
    height_px: f64,
    model: Model,
    radius_limit: f64,
    angle_limit: f64,
}

impl Lens {
    /// The lens of `camera`.
    #[must_use]
    pub fn new(camera: &Camera) -> Lens {
        let model = Model::new(&camera.distortion);
        let angle_limit = match &model {
            Model::Equidistant(k) => distortion::angle_limit(k),
            _ => std::f64::consts::FRAC_PI_2,
        };
        Lens {
            focal_px: camera.focal_px.into(),
            principal_px: camera.principal_px.into(),
            width_px: f64::from(camera.width_px),
            height_px: f64::from(camera.height_px),
            model,
            radius_limit: model.radius_limit(),
            angle_limit,
        }
    }

    /// Width of the image.
    #[must_use]
    pub fn width_px(&self) -> f64 {
        self.width_px
    }

    /// Height of the image.
    #[must_use]
    pub fn height_px(&self) -> f64 {
        self.height_px
    }

    /// Focal lengths along x and y.
    #[must_use]
    pub fn focal_px(&self) -> Vector2<f64> {
        self.focal_px
    }

    /// Principal point.
    #[must_use]
    pub fn principal_px(&self) -> Vector2<f64> {
        self.principal_px
    }

    /// Mean of the two focal lengths.
    #[must_use]
    pub fn mean_focal_px(&self) -> f64 {
        0.5 * (self.focal_px.x + self.focal_px.y)
    }

    /// Whether straight lines stay straight, so that the closed forms of an ideal lens hold.
    #[inline]
    #[must_use]
    pub fn is_ideal(&self) -> bool {
        self.model == Model::Ideal
    }

    /// Radius on the normalised plane (tangent of the angle off the axis) where the distortion stops being
    /// invertible; infinite for a lens that never does.
    #[must_use]
    pub fn radius_limit(&self) -> f64 {
        self.radius_limit
    }

    /// The pixel of a point of the camera frame.
    ///
    /// # Errors
    /// The point is behind the camera, outside the invertible part of the distortion, or not finite.
    #[inline]
    pub fn project(&self, p_in_camera: &Vector3<f64>) -> Result<Vector2<f64>, ProjectError> {
        let px = self.distort(&self.normalise(p_in_camera)?);
        if px.x.is_finite() && px.y.is_finite() {
            Ok(px)
        } else {
            Err(ProjectError::NonFinite)
        }
    }

    /// The pixel of a point of the camera frame and its derivative by the point (px / m).
    ///
    /// # Errors
    /// As [`Lens::project`].
    pub fn project_with_jacobian(
        &self,
        p_in_camera: &Vector3<f64>,
    ) -> Result<(Vector2<f64>, Matrix2x3<f64>), ProjectError> {
        let n = self.normalise(p_in_camera)?;
        let (px, by_n) = self.distort_with_jacobian(&n);
        let a = by_n / p_in_camera.z;
        let last = -(a * n);
        let jacobian = Matrix2x3::new(a.m11, a.m12, last.x, a.m21, a.m22, last.y);
        if px.x.is_finite() && px.y.is_finite() && jacobian.iter().all(|k| k.is_finite()) {
            Ok((px, jacobian))
        } else {
            Err(ProjectError::NonFinite)
        }
    }

    /// The pixel of a point (x / z, y / z) of the normalised plane. It is not checked whether the point lies where
    /// the distortion is invertible; see [`Lens::radius_limit`].
    #[inline]
    #[must_use]
    pub fn distort(&self, n: &Vector2<f64>) -> Vector2<f64> {
        self.model.apply(n).component_mul(&self.focal_px) + self.principal_px
    }

    /// As [`Lens::distort`], with the derivative of the pixel by the normalised point (px per unit).
    #[inline]
    #[must_use]
    pub fn distort_with_jacobian(&self, n: &Vector2<f64>) -> (Vector2<f64>, Matrix2<f64>) {
        let (d, j) = self.model.apply_with_jacobian(n);
        let f = &self.focal_px;
        let jacobian = Matrix2::new(f.x * j.m11, f.x * j.m12, f.y * j.m21, f.y * j.m22);
        (d.component_mul(f) + self.principal_px, jacobian)
    }

    /// The point (x / z, y / z) of the normalised plane that falls on `px`, converged to 1e-12 on that plane.
    ///
    /// Newton with the analytic Jacobian, from the distorted point itself; where that does not settle within the
    /// invertible part of the model, once more from the solution of the radial part alone, which bisection always
    /// finds.
    ///
    /// # Errors
    /// No ray of the model falls on the pixel, or the iteration does not settle, or the pixel is not finite.
    #[inline]
    pub fn undistort(&self, px: &Vector2<f64>) -> Result<Vector2<f64>, UndistortError> {
        let d = (px - self.principal_px).component_div(&self.focal_px);
        if !(d.x.is_finite() && d.y.is_finite()) {
            return Err(UndistortError::NonFinite);
        }
        match &self.model {
            Model::Ideal => Ok(d),
            Model::Polynomial { .. } => match self.newton(&d, d) {
                Some(n) => Ok(n),
                None => self.undistort_safely(px, &d),
            },
            Model::Equidistant(k) => self.undistort_angle(k, px, &d),
        }
    }

    /// As [`Lens::undistort`], with the derivative of the normalised point by the pixel (per px).
    ///
    /// # Errors
    /// As [`Lens::undistort`]; also where the derivative has no inverse.
    pub fn undistort_with_jacobian(
        &self,
        px: &Vector2<f64>,
    ) -> Result<(Vector2<f64>, Matrix2<f64>), UndistortError> {
        let n = self.undistort(px)?;
        if self.is_ideal() {
            let inverse = Matrix2::new(1.0 / self.focal_px.x, 0.0, 0.0, 1.0 / self.focal_px.y);
            return Ok((n, inverse));
        }
        let (_, jacobian) = self.distort_with_jacobian(&n);
        match jacobian.try_inverse() {
            Some(inverse) if inverse.iter().all(|k| k.is_finite()) => Ok((n, inverse)),
            _ => Err(self.outside(px)),
        }
    }

    #[inline]
    fn normalise(&self, p: &Vector3<f64>) -> Result<Vector2<f64>, ProjectError> {
        if !(p.x.is_finite() && p.y.is_finite() && p.z.is_finite()) {
            return Err(ProjectError::NonFinite);
        }
        if p.z <= 0.0 {
            return Err(ProjectError::BehindCamera { z_m: p.z });
        }
        let n = Vector2::new(p.x / p.z, p.y / p.z);
        if self.radius_limit.is_finite() && n.norm_squared() > self.radius_limit * self.radius_limit
        {
            return Err(ProjectError::OutsideModel {
                radius: n.norm(),
                limit: self.radius_limit,
            });
        }
        Ok(n)
    }

    fn outside(&self, px: &Vector2<f64>) -> UndistortError {
        UndistortError::OutsideModel {
            x_px: px.x,
            y_px: px.y,
            limit: self.radius_limit,
        }
    }

    /// Plain Newton from `n`; `None` where it leaves the invertible part or does not settle.
    fn newton(&self, d: &Vector2<f64>, mut n: Vector2<f64>) -> Option<Vector2<f64>> {
        let limit_squared = self.radius_limit * self.radius_limit;
        for _ in 0..NEWTON_STEPS {
            let step = newton_step(&self.model, d, &n)?;
            n -= step;
            if n.norm_squared() > limit_squared {
                return None;
            }
            if step.norm_squared() < LAST_STEP * LAST_STEP {
                return Some(n);
            }
        }
        None
    }

    /// Newton from the solution of the radial part, each step shortened until it brings the image nearer.
    fn undistort_safely(
        &self,
        px: &Vector2<f64>,
        d: &Vector2<f64>,
    ) -> Result<Vector2<f64>, UndistortError> {
        let length = d.norm();
        let start = self.invert_radial(length);
        let mut n = d * (start / length.max(f64::MIN_POSITIVE));
        let mut left = (self.model.apply(&n) - d).norm();
        let mut stuck = false;
        for _ in 0..SAFE_STEPS {
            if left <= RESIDUAL * (1.0 + length) {
                return Ok(n);
            }
            match self.shortened_step(d, &n, left) {
                Some(next) => (n, left) = next,
                None => {
                    stuck = true;
                    break;
                }
            }
        }
        // a Newton step always leads nearer, unless the model folds here or ends
        if stuck
            || relative_determinant(&self.model, &n) < FOLDED
            || n.norm() > self.radius_limit * (1.0 - 1e-6)
        {
            return Err(self.outside(px));
        }
        Err(UndistortError::NoConvergence {
            x_px: px.x,
            y_px: px.y,
            residual_px: left * self.mean_focal_px(),
        })
    }

    /// The first point on the way of a Newton step, halved again and again, that is nearer, and what is left there.
    fn shortened_step(
        &self,
        d: &Vector2<f64>,
        n: &Vector2<f64>,
        left: f64,
    ) -> Option<(Vector2<f64>, f64)> {
        let mut step = newton_step(&self.model, d, n)?;
        for _ in 0..HALVINGS {
            let next = n - step;
            let next_left = (self.model.apply(&next) - d).norm();
            if next_left < left && next.norm() <= self.radius_limit {
                return Some((next, next_left));
            }
            step *= 0.5;
        }
        None
    }

    /// The radius whose radial image is `length`, or the model's limit where there is none.
    fn invert_radial(&self, length: f64) -> f64 {
        let (mut low, mut high) = (0.0, self.radius_limit.min(distortion::LARGEST_RADIUS));
        for _ in 0..SAFE_STEPS {
            let middle = 0.5 * (low + high);
            if self.model.radial(middle) < length {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    /// The equidistant model is radial only: Newton on the angle, kept in a bracket.
    fn undistort_angle(
        &self,
        k: &[f64; 4],
        px: &Vector2<f64>,
        d: &Vector2<f64>,
    ) -> Result<Vector2<f64>, UndistortError> {
        let length = d.norm();
        if length == 0.0 {
            return Ok(*d);
        }
        let (mut low, mut high) = (0.0, self.angle_limit);
        if length >= distortion::theta_distorted(k, high).0 {
            return Err(self.outside(px));
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
