//! Polylines with a radius at each point.

use corymb_model::orchard::Limb;
use nalgebra::Vector3;

/// A piece of wood or wire: a capsule, orchard frame, metres.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Segment {
    pub(crate) a: Vector3<f64>,
    pub(crate) b: Vector3<f64>,
    /// Mean radius of the piece.
    pub(crate) radius_m: f64,
}

impl Segment {
    /// Distance from `p` to the axis.
    pub(crate) fn axis_distance(&self, p: &Vector3<f64>) -> f64 {
        let along = self.b - self.a;
        let t = (p - self.a).dot(&along) / along.norm_squared().max(1e-18);
        (self.a + along * t.clamp(0.0, 1.0) - p).norm()
    }
}

/// A place on a limb.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    pub(crate) p: Vector3<f64>,
    pub(crate) tangent: Vector3<f64>,
    pub(crate) radius_m: f64,
}

/// The pieces of a limb.
pub(crate) fn segments(limb: &Limb) -> impl Iterator<Item = Segment> + '_ {
    let radii = limb.radii_m.windows(2).map(|r| 0.5 * (r[0] + r[1]));
    limb.points
        .windows(2)
        .zip(radii)
        .map(|(p, radius_m)| Segment {
            a: p[0].xyz,
            b: p[1].xyz,
            radius_m,
        })
}

/// Length of a limb along its axis, metres.
pub(crate) fn length(limb: &Limb) -> f64 {
    segments(limb).map(|s| (s.b - s.a).norm()).sum()
}

/// The place `along_m` from the base, or `None` beyond the tip.
pub(crate) fn place(limb: &Limb, along_m: f64) -> Option<Place> {
    let mut left = along_m;
    for (s, r) in segments(limb).zip(limb.radii_m.windows(2)) {
        let piece = s.b - s.a;
        let norm = piece.norm();
        if left <= norm && norm > 0.0 {
            let t = left / norm;
            return Some(Place {
                p: s.a + piece * t,
                tangent: piece / norm,
                radius_m: r[0] + (r[1] - r[0]) * t,
            });
        }
        left -= norm;
    }
    None
}

/// Two unit vectors that make a right-handed frame with `z` (Duff et al. 2017, "Building an orthonormal basis,
/// revisited", listing 3).
pub(crate) fn across(z: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let sign = 1.0_f64.copysign(z.z);
    let a = -1.0 / (sign + z.z);
    let b = z.x * z.y * a;
    (
        Vector3::new(1.0 + sign * z.x * z.x * a, sign * b, -sign * z.x),
        Vector3::new(b, sign + z.y * z.y * a, -z.y),
    )
}
