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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Extremes of an ideal camera with f = 1000 and its centre at (640, 480), found by walking the rim.
    fn box_px(s: &Spheroid) -> [f64; 4] {
        let disc = s.disc().unwrap();
        let px = (0..40_000).map(|k| {
            let p = disc.at(1.0, f64::from(k) / 40_000.0);
            [1000.0 * p.x / p.z + 640.0, 1000.0 * p.y / p.z + 480.0]
        });
        px.fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, p| {
            [
                b[0].min(p[0]),
                b[1].min(p[1]),
                b[2].max(p[0]),
                b[3].max(p[1]),
            ]
        })
    }

    /// Closed form of a sphere's outline (dual conic of the dual quadric, Hartley and Zisserman, Multiple View
    /// Geometry, 8.3), computed apart from this code; four decimals were kept.
    #[test]
    fn spheres_have_their_reference_boxes() {
        for (centre, radius, expected) in [
            (
                [0.1, 0.05, 0.5],
                0.02,
                [799.4944, 539.9282, 881.1466, 620.3923],
            ),
            (
                [0.15, -0.1, 0.4],
                0.01,
                [988.5251, 204.0657, 1041.9439, 255.6216],
            ),
            (
                [0.0, 0.0, 0.5],
                0.02,
                [599.9680, 439.9680, 680.0320, 520.0320],
            ),
        ] {
            let got = box_px(&Spheroid::sphere(Vector3::from(centre), radius));
            for (g, e) in got.iter().zip(expected) {
                assert!((g - e).abs() < 1e-4, "{got:?} for {expected:?}");
            }
        }
    }

    #[test]
    fn a_camera_inside_sees_no_outline() {
        assert!(
            Spheroid::sphere(Vector3::new(0.0, 0.0, 0.01), 0.02)
                .disc()
                .is_none()
        );
    }

    fn any_spheroid() -> impl Strategy<Value = Spheroid> {
        let v = || prop::array::uniform3(-1.0..1.0_f64).prop_map(Vector3::from);
        (v(), v(), 0.005..0.03_f64, 0.7..1.6_f64).prop_filter_map(
            "an axis",
            |(c, a, radius, ratio)| {
                let axis = a.try_normalize(1e-3)?;
                let centre = Vector3::new(0.3 * c.x, 0.3 * c.y, 0.6 + 0.3 * c.z);
                Some(Spheroid {
                    centre,
                    axis,
                    radius,
                    ratio,
                })
            },
        )
    }

    proptest! {
        /// Rays to the rim graze; rays inside it enter on the surface; rays outside it miss.
        #[test]
        fn the_disc_is_the_outline(s in any_spheroid(), share in 0.0..0.99_f64, turn in 0.0..1.0_f64) {
            let disc = s.disc().unwrap();
            let rim = disc.at(1.0, turn);
            prop_assert!((s.in_unit(&(rim - s.centre)).norm() - 1.0).abs() < 1e-9);
            let p = disc.at(share, turn);
            let t = s.entry(&p).unwrap();
            prop_assert!((s.in_unit(&(p * t - s.centre)).norm() - 1.0).abs() < 1e-6);
            prop_assert!(t <= 1.0 + 1e-9, "the disc lies inside the body");
            prop_assert!(s.entry(&disc.at(1.01, turn)).is_none());
        }

        /// No point of the surface is nearer along z.
        #[test]
        fn nearest_z_is_the_least(s in any_spheroid(), a in 0.0..1.0_f64, b in -1.0..1.0_f64) {
            let flat = (1.0 - b * b).sqrt();
            let unit = Vector3::new(flat * (TAU * a).cos(), flat * (TAU * a).sin(), b);
            let p = s.centre + s.out_of_unit(&unit);
            prop_assert!(p.z >= s.nearest_z() - 1e-12);
        }
    }
}
