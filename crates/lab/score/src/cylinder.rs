//! Distances from a solid cylinder, in its own frame: axis along z, rim at the origin.

use nalgebra::{Isometry3, Vector3};

/// Steps of the search along a segment; each shrinks the interval to 0.618 of it, so 40 leave 4e-9 of its length.
const SEGMENT_STEPS: usize = 40;
/// Rounds of projections between cylinder and box.
const BOX_STEPS: usize = 400;
/// Gap below which cylinder and box count as touching, metres: where projections between them stop to be told apart.
const BOX_TOUCH_M: f64 = 1e-6;

/// A solid cylinder of `radius_m` with z from `-length_m` to 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Cylinder {
    pub(crate) radius_m: f64,
    pub(crate) length_m: f64,
}

impl Cylinder {
    /// The point of the cylinder nearest to `p`.
    fn nearest(&self, p: &Vector3<f64>) -> Vector3<f64> {
        let rho = p.x.hypot(p.y);
        let scale = if rho > self.radius_m {
            self.radius_m / rho
        } else {
            1.0
        };
        Vector3::new(p.x * scale, p.y * scale, p.z.clamp(-self.length_m, 0.0))
    }

    /// Distance of a point; 0 inside.
    pub(crate) fn distance(&self, p: &Vector3<f64>) -> f64 {
        (self.nearest(p) - p).norm()
    }

    /// Gap between the cylinder and a segment thickened from `radius_a_m` at `a` to `radius_b_m` at `b` (with round
    /// ends); negative where they overlap. Distance from a convex body less a linear radius is convex along the
    /// segment, so a golden-section search finds its least value.
    pub(crate) fn gap_to_segment(
        &self,
        a: &Vector3<f64>,
        b: &Vector3<f64>,
        radius_a_m: f64,
        radius_b_m: f64,
    ) -> f64 {
        let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
        let gap = |t: f64| {
            self.distance(&(a + (b - a) * t)) - (radius_a_m + (radius_b_m - radius_a_m) * t)
        };
        let (mut low, mut high) = (0.0, 1.0);
        let (mut s, mut t) = (1.0 - golden, golden);
        let (mut at_s, mut at_t) = (gap(s), gap(t));
        for _ in 0..SEGMENT_STEPS {
            if at_s <= at_t {
                (high, t, at_t) = (t, s, at_s);
                s = high - golden * (high - low);
                at_s = gap(s);
            } else {
                (low, s, at_s) = (s, t, at_t);
                t = low + golden * (high - low);
                at_t = gap(t);
            }
        }
        at_s.min(at_t).min(gap(0.0)).min(gap(1.0))
    }

    /// Whether the cylinder touches a solid box of full edge lengths `size_m` about the origin of its frame. Alternating
    /// projections onto two convex bodies approach a closest pair of points (W. Cheney and A. Goldstein, "Proximity maps
    /// for convex sets", Proc. AMS 10 (1959)).
    pub(crate) fn touches_box(&self, tool_from_box: &Isometry3<f64>, size_m: &[f64; 3]) -> bool {
        let half = Vector3::from(*size_m) / 2.0;
        let box_from_tool = tool_from_box.inverse();
        let into_box = |p: &Vector3<f64>| {
            let q = box_from_tool.rotation * p + box_from_tool.translation.vector;
            let q = Vector3::from_fn(|i, _| q[i].clamp(-half[i], half[i]));
            tool_from_box.rotation * q + tool_from_box.translation.vector
        };
        let mut p = Vector3::new(0.0, 0.0, -self.length_m / 2.0);
        for _ in 0..BOX_STEPS {
            let in_box = into_box(&p);
            p = self.nearest(&in_box);
            if (p - in_box).norm() < BOX_TOUCH_M {
                return true;
            }
        }
        false
    }
}
