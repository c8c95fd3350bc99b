//! The box and the ellipse that a sphere's image fills.
//!
//! The rays that graze the sphere make an ellipse on the normalised plane: the dual conic C* = c c^T - r^2 I (Hartley
//! and Zisserman, "Multiple View Geometry", ch. 8.3). Of all its points, the furthest in the direction of a gradient
//! g is known in closed form, e + E g / sqrt(g^T E g) with centre e and shape E. In an ideal lens g is constant and
//! that is the box; in a distorted one g is the gradient of the distorted coordinate, which changes little over a
//! small ellipse, so two or three fixed-point steps find the extreme point.

use crate::camera::Lens;
use crate::edges::Side;
use nalgebra::{Matrix2, Matrix4, Vector2, Vector3};
use std::f64::consts::TAU;
use thiserror::Error;

/// How far off an edge may be, as estimated, when the search for an extreme point stops: the radius in pixels times
/// half the square of the turn along the ellipse that is left.
const LEFT_OVER_PX: f64 = 1e-8;
/// Largest squared ratio of successive turns at which the geometric estimate of what is left is believed.
const SETTLING: f64 = 0.25;
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
    let mut out = [0.0; 4];
    for ((slot, side), n) in out
        .iter_mut()
        .zip(Side::ALL)
        .zip(Ellipse::new(c_in_camera, radius_m).extremes(lens))
    {
        *slot = lens.distort(&n)[axis_of(side)];
    }
    if out.iter().all(|x| x.is_finite()) {
        Ok(out)
    } else {
        Err(SphereError::NotASphere { radius_m })
    }
}

/// As [`sphere_box`], with the derivative of the box by (centre x, y, z, radius), px / m, a row an edge.
///
/// The contact point is where the coordinate is extreme, so its own motion along the silhouette does not count: with
/// the gradient g of the coordinate there and the inward normal n of the plane that touches the sphere,
/// d = g . (dc - n dr).
///
/// # Errors
/// See [`SphereError`].
pub fn sphere_box_with_jacobian(
    lens: &Lens,
    c_in_camera: &Vector3<f64>,
    radius_m: f64,
) -> Result<([f64; 4], Matrix4<f64>), SphereError> {
    check(lens, c_in_camera, radius_m)?;
    let contacts = Ellipse::new(c_in_camera, radius_m).extremes(lens);
    let mut out = [0.0; 4];
    let mut jacobian = Matrix4::zeros();
    for (row, (side, n)) in Side::ALL.into_iter().zip(contacts).enumerate() {
        let (px, by_n) = lens.distort_with_jacobian(&n);
        let g = gradient(&by_n, side);
        // by the point p = z (n, 1): the plane's normal, and z times the gradient
        let normal = Vector3::new(g.x, g.y, -g.dot(&n));
        let length = normal.norm() * side_sign(side);
        let z = c_in_camera.z - radius_m * normal.z / length;
        out[row] = px[axis_of(side)];
        jacobian.set_row(row, &(normal / z).push(-length / z).transpose());
    }
    if out.iter().chain(jacobian.iter()).all(|x| x.is_finite()) {
        Ok((out, jacobian))
    } else {
        Err(SphereError::NotASphere { radius_m })
    }
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
    let ellipse = Ellipse::new(c_in_camera, radius_m);
    let f = Matrix2::from_diagonal(&lens.focal_px());
    let shape_px2 = f * ellipse.shape * f;
    let half_trace = 0.5 * (shape_px2.m11 + shape_px2.m22);
    let half_gap = (0.5 * (shape_px2.m11 - shape_px2.m22)).hypot(shape_px2.m12);
    let angle = 0.5 * (2.0 * shape_px2.m12).atan2(shape_px2.m11 - shape_px2.m22);
    Ok(SphereEllipse {
        centre_px: lens.focal_px().component_mul(&ellipse.centre) + lens.principal_px(),
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

/// Plus one where the box's inside has the greater coordinate.
fn side_sign(side: Side) -> f64 {
    match side {
        Side::Left | Side::Top => 1.0,
        Side::Right | Side::Bottom => -1.0,
    }
}

/// Position of the edge's coordinate in a pixel.
fn axis_of(side: Side) -> usize {
    side.index() % 2
}

/// Gradient of the edge's coordinate by the normalised point.
fn gradient(by_n: &Matrix2<f64>, side: Side) -> Vector2<f64> {
    by_n.row(axis_of(side)).transpose()
}

/// The grazing rays on the normalised plane: (n - centre)^T shape^-1 (n - centre) = 1.
struct Ellipse {
    centre: Vector2<f64>,
    shape: Matrix2<f64>,
}

impl Ellipse {
    /// centre = C*_13,23 / C*_33 and shape = centre centre^T - C*_2x2 / C*_33, multiplied out.
    fn new(c: &Vector3<f64>, r: f64) -> Self {
        let scale = 1.0 / ((c.z - r) * (c.z + r));
        let xy = c.xy();
        let shape = (Matrix2::identity() + xy * xy.transpose() * scale) * (r * r * scale);
        Ellipse {
            centre: xy * (c.z * scale),
            shape,
        }
    }

    /// The furthest point in direction `g`.
    fn furthest(&self, g: &Vector2<f64>) -> Vector2<f64> {
        let along = self.shape * g;
        let square = g.dot(&along);
        if square > 0.0 {
            self.centre + along / square.sqrt()
        } else {
            self.centre
        }
    }

    /// The points whose distorted coordinates are extreme, in the order left, top, right, bottom.
    fn extremes(&self, lens: &Lens) -> [Vector2<f64>; 4] {
        let (_, by_n) = lens.distort_with_jacobian(&self.centre);
        Side::ALL.map(|side| {
            let g = gradient(&by_n, side) * -side_sign(side);
            if lens.is_ideal() {
                self.furthest(&g)
            } else {
                self.extreme(lens, side, g)
            }
        })
    }

    /// The extreme point on `side`, from the outward gradient at the centre.
    fn extreme(&self, lens: &Lens, side: Side, mut g: Vector2<f64>) -> Vector2<f64> {
        let mut n = self.furthest(&g);
        // a gradient turns at least by about the size of the ellipse while the point goes from the centre to its rim
        let size2 = self.shape.trace();
        let enough = 2.0 * LEFT_OVER_PX / (size2 * g.norm_squared()).sqrt();
        let mut last_turn2 = 1.0;
        for _ in 0..FIXED_POINT_STEPS {
            let next = gradient(&lens.distort_with_jacobian(&n).1, side) * -side_sign(side);
            let turn2 = g.perp(&next).powi(2) / (g.norm_squared() * next.norm_squared());
            g = next;
            n = self.furthest(&g);
            let ratio2 = f64::max(turn2 / last_turn2, size2);
            if ratio2 < SETTLING && ratio2 * turn2 < enough {
                return n;
            }
            last_turn2 = turn2;
        }
        self.extreme_by_sampling(lens, side)
    }

    /// As [`Ellipse::extreme`] where the fixed point does not settle (a sphere that fills much of a fisheye image):
    /// the best of evenly spaced samples, refined by golden section.
    fn extreme_by_sampling(&self, lens: &Lens, side: Side) -> Vector2<f64> {
        let e = &self.shape;
        let x_x = e.m11.sqrt();
        let (y_x, y_y) = (
            e.m12 / x_x,
            ((e.m11 * e.m22 - e.m12 * e.m12) / e.m11).max(0.0).sqrt(),
        );
        let at = |angle: f64| {
            let (sin, cos) = angle.sin_cos();
            self.centre + Vector2::new(x_x * cos, y_x * cos + y_y * sin)
        };
        let height = |angle: f64| side_sign(side) * lens.distort(&at(angle))[axis_of(side)];
        let step = TAU / SAMPLES as f64;
        let mut best = (f64::INFINITY, 0.0);
        for i in 0..SAMPLES {
            let angle = i as f64 * step;
            let value = height(angle);
            if value < best.0 {
                best = (value, angle);
            }
        }
        let ratio = 0.5 * (5.0_f64.sqrt() - 1.0);
        let (mut low, mut high) = (best.1 - step, best.1 + step);
        for _ in 0..GOLDEN_STEPS {
            let (a, b) = (high - ratio * (high - low), low + ratio * (high - low));
            if height(a) < height(b) {
                high = b;
            } else {
                low = a;
            }
        }
        at(0.5 * (low + high))
    }
}
