//! A lens: between rays of the camera frame and pixels, both ways, with derivatives.

use crate::distortion::{self, Model};
use crate::undistortion::{Domain, NoRay, invert};
use corymb_model::run::Camera;
use nalgebra::{Matrix2, Matrix2x3, Vector2, Vector3};
use thiserror::Error;

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
    domain: Domain,
}

impl Lens {
    /// The lens of `camera`.
    #[must_use]
    pub fn new(camera: &Camera) -> Lens {
        let model = Model::new(&camera.distortion);
        let angle = match &model {
            Model::Equidistant(k) => distortion::angle_limit(k),
            _ => std::f64::consts::FRAC_PI_2,
        };
        Lens {
            focal_px: camera.focal_px.into(),
            principal_px: camera.principal_px.into(),
            width_px: f64::from(camera.width_px),
            height_px: f64::from(camera.height_px),
            model,
            domain: Domain {
                radius: model.radius_limit(),
                angle,
            },
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
        self.domain.radius
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
        if self.is_ideal() {
            return Ok(d);
        }
        invert(&self.model, &self.domain, &d).map_err(|why| match why {
            NoRay::OutsideModel => self.outside(px),
            NoRay::NoConvergence { left } => {
                let residual_px = left * self.mean_focal_px();
                UndistortError::NoConvergence {
                    x_px: px.x,
                    y_px: px.y,
                    residual_px,
                }
            }
        })
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
        let limit = self.domain.radius;
        if limit.is_finite() && n.norm_squared() > limit * limit {
            return Err(ProjectError::OutsideModel {
                radius: n.norm(),
                limit,
            });
        }
        Ok(n)
    }

    fn outside(&self, px: &Vector2<f64>) -> UndistortError {
        UndistortError::OutsideModel {
            x_px: px.x,
            y_px: px.y,
            limit: self.domain.radius,
        }
    }
}
