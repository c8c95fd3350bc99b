//! The box and the ellipse that a sphere's image fills.
//!
//! The rays that graze the sphere touch it on a circle, its silhouette. In an ideal lens the box follows from the
//! tangent planes through the image axes, a quadratic for each axis; equivalently from the dual conic
//! C* = c c^T - r^2 I (Hartley and Zisserman, "Multiple View Geometry", ch. 8.3). A distorted lens moves the
//! extreme points along the silhouette, which a few fixed-point steps find: the point sought is where the pixel
//! coordinate, replaced by its tangent plane, is extreme on the silhouette, and that plane changes little over a
//! small sphere.

use crate::camera::{Lens, ProjectError};
use crate::edges::Side;
use nalgebra::{Matrix2, Matrix4, Vector2, Vector3};
use std::f64::consts::TAU;
use thiserror::Error;

/// Silhouette angle at which the search for an extreme point stops. The box moves by the square of what is left
/// over, times half the radius in pixels: under 1e-9 px for a radius of 1,000 px.
const LAST_TURN_RAD: f64 = 1e-6;
/// Fixed-point steps before the search falls back to sampling; common lenses need two to four.
const FIXED_POINT_STEPS: usize = 24;
/// Samples of the silhouette in the fallback.
const SAMPLES: usize = 256;
/// Golden-section steps in the fallback, each of which shortens the bracket to 0.618.
const GOLDEN_STEPS: usize = 60;

/// Why a sphere has no box.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum SphereError {
    /// Part of the sphere reaches behind the camera, so that its image has no end.
    #[error("the sphere reaches z = {nearest_z_m} m, not in front of the camera")]
    Behind {
        /// Least z of the sphere in the camera frame.
        nearest_z_m: f64,
    },
    /// The camera is inside the sphere, or on it.
    #[error("the camera is inside the sphere: centre {distance_m} m away, radius {radius_m} m")]
    CameraInside {
        /// Distance of the centre.
        distance_m: f64,
        /// Radius of the sphere.
        radius_m: f64,
    },
    /// Part of the silhouette lies beyond where the distortion is invertible.
    #[error(
        "the silhouette reaches beyond tan of the angle {limit}, where the lens model folds back"
    )]
    OutsideModel {
        /// Radius on the normalised plane where it folds back.
        limit: f64,
    },
    /// The radius is negative or a number is not finite.
    #[error("no sphere: a number is not finite, or the radius {radius_m} m is negative")]
    NotASphere {
        /// Radius of the sphere.
        radius_m: f64,
    },
}

/// The image of a sphere in the ideal lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SphereEllipse {
    /// Centre (not the image of the sphere's centre).
    pub centre_px: Vector2<f64>,
    /// The points x of the ellipse satisfy (x - centre)^T shape^-1 (x - centre) = 1.
    pub shape_px2: Matrix2<f64>,
    /// Longer half axis.
    pub semi_major_px: f64,
    /// Shorter half axis.
    pub semi_minor_px: f64,
    /// Unit direction of the longer axis, x positive (y positive where x is zero).
    pub major_axis: Vector2<f64>,
}

/// The box `[x0, y0, x1, y1]` (px) of a sphere, not clipped to the image. Exact to rounding in an ideal lens, to
/// 1e-6 px in a distorted one.
///
/// # Errors
/// See [`SphereError`].
pub fn sphere_box(
    lens: &Lens,
    c_in_camera: &Vector3<f64>,
    radius_m: f64,
) -> Result<[f64; 4], SphereError> {
    check(lens, c_in_camera, radius_m)?;
    if lens.is_ideal() {
        let (x, y) = ideal_interval(c_in_camera, radius_m);
        let (f, p) = (lens.focal_px(), lens.principal_px());
        return Ok([
            f.x * x[0] + p.x,
            f.y * y[0] + p.y,
            f.x * x[1] + p.x,
            f.y * y[1] + p.y,
        ]);
    }
    let silhouette = Silhouette::new(c_in_camera, radius_m);
    let mut out = [0.0; 4];
    for (slot, side) in out.iter_mut().zip(Side::ALL) {
        *slot = silhouette.extreme(lens, side)?.1;
    }
    Ok(out)
}

/// As [`sphere_box`], with the derivative of the box by (centre x, y, z, radius), px / m, a row an edge.
///
/// The silhouette point is where the coordinate is extreme, so its own motion along the silhouette does not count:
/// with the contact point p and the gradient g of the coordinate there, d = g . (dc - n dr).
///
/// # Errors
/// See [`SphereError`].
pub fn sphere_box_with_jacobian(
    lens: &Lens,
    c_in_camera: &Vector3<f64>,
    radius_m: f64,
) -> Result<([f64; 4], Matrix4<f64>), SphereError> {
    check(lens, c_in_camera, radius_m)?;
    let silhouette = Silhouette::new(c_in_camera, radius_m);
    let ideal = lens
        .is_ideal()
        .then(|| ideal_interval(c_in_camera, radius_m));
    let mut out = [0.0; 4];
    let mut jacobian = Matrix4::zeros();
    for (row, side) in Side::ALL.into_iter().enumerate() {
        let contact = match &ideal {
            Some((x, y)) => ideal_contact(c_in_camera, radius_m, side, x, y),
            None => silhouette.extreme(lens, side)?.0,
        };
        let (coordinate, gradient) = silhouette.coordinate(lens, side, &contact)?;
        out[row] = coordinate;
        let normal = side_sign(side) * gradient.normalize();
        jacobian
            .fixed_view_mut::<1, 3>(row, 0)
            .copy_from(&gradient.transpose());
        jacobian[(row, 3)] = -gradient.dot(&normal);
    }
    Ok((out, jacobian))
}

/// The ellipse of a sphere in the lens without its distortion.
///
/// # Errors
/// See [`SphereError`].
pub fn sphere_ellipse(
    lens: &Lens,
    c_in_camera: &Vector3<f64>,
    radius_m: f64,
) -> Result<SphereEllipse, SphereError> {
    check(lens, c_in_camera, radius_m)?;
    let (c, r2) = (c_in_camera, radius_m * radius_m);
    let scale = 1.0 / ((c.z - radius_m) * (c.z + radius_m));
    let centre = c.xy() * (c.z * scale);
    // centre centre^T - C*_2x2 / C*_33 = r^2 / (z^2 - r^2) (I + xy xy^T / (z^2 - r^2))
    let shape = (Matrix2::identity() + c.xy() * c.xy().transpose() * scale) * (r2 * scale);
    let f = Matrix2::from_diagonal(&lens.focal_px());
    let shape_px2 = f * shape * f;
    let half_trace = 0.5 * (shape_px2.m11 + shape_px2.m22);
    let half_gap = (0.5 * (shape_px2.m11 - shape_px2.m22)).hypot(shape_px2.m12);
    let angle = 0.5 * (2.0 * shape_px2.m12).atan2(shape_px2.m11 - shape_px2.m22);
    Ok(SphereEllipse {
        centre_px: lens.focal_px().component_mul(&centre) + lens.principal_px(),
        shape_px2,
        semi_major_px: (half_trace + half_gap).sqrt(),
        semi_minor_px: (half_trace - half_gap).max(0.0).sqrt(),
        major_axis: Vector2::new(angle.cos(), angle.sin()),
    })
}

/// The part of a box that lies in the image, or `None` where none does or a coordinate is not a number.
#[must_use]
pub fn clip_box(lens: &Lens, box_px: &[f64; 4]) -> Option<[f64; 4]> {
    if box_px.iter().any(|x| x.is_nan()) {
        return None;
    }
    let [x0, y0, x1, y1] = *box_px;
    let clipped = [
        x0.max(0.0),
        y0.max(0.0),
        x1.min(lens.width_px()),
        y1.min(lens.height_px()),
    ];
    (clipped[0] < clipped[2] && clipped[1] < clipped[3]).then_some(clipped)
}

fn check(lens: &Lens, c: &Vector3<f64>, radius_m: f64) -> Result<(), SphereError> {
    let distance_m = c.norm();
    if !(distance_m.is_finite() && radius_m.is_finite() && radius_m >= 0.0) {
        return Err(SphereError::NotASphere { radius_m });
    }
    if distance_m <= radius_m {
        return Err(SphereError::CameraInside {
            distance_m,
            radius_m,
        });
    }
    if c.z <= radius_m {
        return Err(SphereError::Behind {
            nearest_z_m: c.z - radius_m,
        });
    }
    let limit = lens.radius_limit();
    if limit.is_finite() {
        // the ray of the silhouette furthest off axis: angle of the centre plus angular radius
        let (sin_a, cos_a) = (c.xy().norm() / distance_m, c.z / distance_m);
        let sin_b = radius_m / distance_m;
        let cos_b = ((1.0 - sin_b) * (1.0 + sin_b)).sqrt();
        if sin_a * cos_b + cos_a * sin_b > limit * (cos_a * cos_b - sin_a * sin_b) {
            return Err(SphereError::OutsideModel { limit });
        }
    }
    Ok(())
}

/// Least and greatest x / z and y / z: the roots a of (x - a z)^2 = r^2 (1 + a^2).
fn ideal_interval(c: &Vector3<f64>, r: f64) -> ([f64; 2], [f64; 2]) {
    let scale = 1.0 / ((c.z - r) * (c.z + r));
    let roots = |x: f64| {
        let middle = x * c.z;
        let half = r * (x * x + (c.z - r) * (c.z + r)).sqrt();
        [(middle - half) * scale, (middle + half) * scale]
    };
    (roots(c.x), roots(c.y))
}

fn ideal_contact(c: &Vector3<f64>, r: f64, side: Side, x: &[f64; 2], y: &[f64; 2]) -> Vector3<f64> {
    let normal = match side {
        Side::Left => Vector3::new(1.0, 0.0, -x[0]),
        Side::Top => Vector3::new(0.0, 1.0, -y[0]),
        Side::Right => Vector3::new(-1.0, 0.0, x[1]),
        Side::Bottom => Vector3::new(0.0, -1.0, y[1]),
    };
    c - normal.normalize() * r
}

/// Plus one where the box's inside has the greater coordinate.
fn side_sign(side: Side) -> f64 {
    match side {
        Side::Left | Side::Top => 1.0,
        Side::Right | Side::Bottom => -1.0,
    }
}

/// The circle on which the rays from the camera graze the sphere.
struct Silhouette {
    centre: Vector3<f64>,
    radius: f64,
    u: Vector3<f64>,
    v: Vector3<f64>,
}

impl Silhouette {
    fn new(c: &Vector3<f64>, r: f64) -> Self {
        let d2 = c.norm_squared();
        let share = 1.0 - r * r / d2;
        // u across the camera's y axis, which no sphere wholly in front of the camera lies on
        let u = Vector3::new(c.z, 0.0, -c.x) / c.x.hypot(c.z);
        let v = c.cross(&u) / d2.sqrt();
        Silhouette {
            centre: c * share,
            radius: r * share.sqrt(),
            u,
            v,
        }
    }

    fn at(&self, angle: f64) -> Vector3<f64> {
        let (sin, cos) = angle.sin_cos();
        self.centre + (self.u * cos + self.v * sin) * self.radius
    }

    /// The pixel coordinate of `side` at point `p`, and its gradient.
    fn coordinate(
        &self,
        lens: &Lens,
        side: Side,
        p: &Vector3<f64>,
    ) -> Result<(f64, Vector3<f64>), SphereError> {
        let axis = side.index() % 2;
        match lens.project_with_jacobian(p) {
            Ok((px, j)) => Ok((px[axis], j.row(axis).transpose())),
            Err(ProjectError::BehindCamera { z_m }) => {
                Err(SphereError::Behind { nearest_z_m: z_m })
            }
            Err(ProjectError::OutsideModel { limit, .. }) => {
                Err(SphereError::OutsideModel { limit })
            }
            Err(ProjectError::NonFinite) => Err(SphereError::NotASphere {
                radius_m: self.radius,
            }),
        }
    }

    /// The silhouette point that is extreme on `side`, and its coordinate.
    fn extreme(&self, lens: &Lens, side: Side) -> Result<(Vector3<f64>, f64), SphereError> {
        let outward = -side_sign(side);
        let mut p = self.centre;
        let mut last = f64::NAN;
        for _ in 0..FIXED_POINT_STEPS {
            let (_, gradient) = self.coordinate(lens, side, &p)?;
            let angle = (outward * gradient.dot(&self.v)).atan2(outward * gradient.dot(&self.u));
            p = self.at(angle);
            let turn = (angle - last).abs();
            if turn < LAST_TURN_RAD || (turn - TAU).abs() < LAST_TURN_RAD {
                return Ok((p, self.coordinate(lens, side, &p)?.0));
            }
            last = angle;
        }
        self.extreme_by_sampling(lens, side)
    }

    /// As [`Silhouette::extreme`] where the fixed point does not settle (a sphere that fills much of a fisheye
    /// image): the best of evenly spaced samples, refined by golden section.
    fn extreme_by_sampling(
        &self,
        lens: &Lens,
        side: Side,
    ) -> Result<(Vector3<f64>, f64), SphereError> {
        let sign = side_sign(side);
        let height = |angle: f64| Ok(sign * self.coordinate(lens, side, &self.at(angle))?.0);
        let step = TAU / SAMPLES as f64;
        let mut best = (f64::INFINITY, 0.0);
        for i in 0..SAMPLES {
            let angle = i as f64 * step;
            let value = height(angle)?;
            if value < best.0 {
                best = (value, angle);
            }
        }
        let ratio = 0.5 * (5.0_f64.sqrt() - 1.0);
        let (mut low, mut high) = (best.1 - step, best.1 + step);
        for _ in 0..GOLDEN_STEPS {
            let (a, b) = (high - ratio * (high - low), low + ratio * (high - low));
            if height(a)? < height(b)? {
                high = b;
            } else {
                low = a;
            }
        }
        let p = self.at(0.5 * (low + high));
        Ok((p, self.coordinate(lens, side, &p)?.0))
    }
}
