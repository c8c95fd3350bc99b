//! Spheroids in the camera frame: their exact outline as seen from the camera, and rays against them.

use crate::grow::TrueBody;
use nalgebra::{Isometry3, Vector3};
use std::f64::consts::TAU;

/// A spheroid in the camera frame, metres.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spheroid {
    pub(crate) centre: Vector3<f64>,
    /// Unit vector along the unequal axis.
    pub(crate) axis: Vector3<f64>,
    /// Across the axis.
    pub(crate) radius: f64,
    /// Half length along the axis over `radius`.
    pub(crate) ratio: f64,
}

/// The disc, in the space where the spheroid is a unit ball, whose points cover the outline as seen from the camera.
///
/// With `o` the camera in that space and `d = |o|`, rays touch the ball on the circle about `o/d^2` with radius
/// `sqrt(1 - 1/d^2)` (the polar plane of `o`).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Disc {
    body: Spheroid,
    middle: Vector3<f64>,
    u: Vector3<f64>,
    v: Vector3<f64>,
}

impl Spheroid {
    pub(crate) fn of(
        body: &TrueBody,
        shift: &Vector3<f64>,
        camera_from_orchard: &Isometry3<f64>,
    ) -> Self {
        Self {
            centre: camera_from_orchard
                .transform_point(&(body.centre.xyz + shift).into())
                .coords,
            axis: camera_from_orchard.rotation * body.axis.xyz,
            radius: body.radius_m(),
            ratio: body.length_ratio,
        }
    }

    pub(crate) fn sphere(centre: Vector3<f64>, radius: f64) -> Self {
        Self {
            centre,
            axis: Vector3::z(),
            radius,
            ratio: 1.0,
        }
    }

    /// Radius of a ball about the centre that holds it.
    pub(crate) fn outer_radius(&self) -> f64 {
        self.radius * self.ratio.max(1.0)
    }

    /// Smallest z of its surface.
    pub(crate) fn nearest_z(&self) -> f64 {
        let along = self.axis.z * self.radius * self.ratio;
        let across2 = (1.0 - self.axis.z * self.axis.z).max(0.0) * self.radius * self.radius;
        self.centre.z - (along * along + across2).sqrt()
    }

    /// A vector in the space where the spheroid is a unit ball.
    fn in_unit(&self, v: &Vector3<f64>) -> Vector3<f64> {
        (v - self.axis * ((1.0 - 1.0 / self.ratio) * self.axis.dot(v))) / self.radius
    }

    fn out_of_unit(&self, v: &Vector3<f64>) -> Vector3<f64> {
        (v + self.axis * ((self.ratio - 1.0) * self.axis.dot(v))) * self.radius
    }

    /// The disc that covers the outline, or `None` with the camera inside.
    pub(crate) fn disc(&self) -> Option<Disc> {
        let o = -self.in_unit(&self.centre);
        let d2 = o.norm_squared();
        if d2 <= 1.0 + 1e-9 {
            return None;
        }
        let (u, v) = crate::grow::across(&(o / d2.sqrt()));
        let rim = (1.0 - 1.0 / d2).sqrt();
        Some(Disc {
            body: *self,
            middle: o / d2,
            u: u * rim,
            v: v * rim,
        })
    }

    /// Where the ray from the camera through `p` enters, as a multiple of `p`.
    pub(crate) fn entry(&self, p: &Vector3<f64>) -> Option<f64> {
        let o = -self.in_unit(&self.centre);
        let v = self.in_unit(p);
        let (a, b, c) = (v.norm_squared(), o.dot(&v), o.norm_squared() - 1.0);
        let root2 = b * b - a * c;
        (root2 > 0.0).then(|| (-b - root2.sqrt()) / a)
    }
}

impl Disc {
    /// The point at a share of the rim's radius and a turn from 0 to 1, camera frame. At share 1 it is on the outline.
    pub(crate) fn at(&self, share: f64, turn: f64) -> Vector3<f64> {
        let angle = TAU * turn;
        let unit = self.middle + (self.u * angle.cos() + self.v * angle.sin()) * share;
        self.body.centre + self.body.out_of_unit(&unit)
    }
}
