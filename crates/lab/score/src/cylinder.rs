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

#[cfg(test)]
mod tests {
    use super::Cylinder;
    use nalgebra::{Isometry3, Vector3};
    use proptest::prelude::*;

    const CUP: Cylinder = Cylinder {
        radius_m: 0.02,
        length_m: 0.06,
    };

    fn vector(size_m: f64) -> impl Strategy<Value = Vector3<f64>> {
        let axis = move || -size_m..size_m;
        (axis(), axis(), axis()).prop_map(|(x, y, z)| Vector3::new(x, y, z))
    }

    #[test]
    fn distances_by_hand() {
        assert_eq!(CUP.distance(&Vector3::new(0.01, 0.0, -0.03)), 0.0);
        assert!((CUP.distance(&Vector3::new(0.05, 0.0, -0.03)) - 0.03).abs() < 1e-15);
        assert!((CUP.distance(&Vector3::new(0.0, 0.0, 0.04)) - 0.04).abs() < 1e-15);
        assert!((CUP.distance(&Vector3::new(0.0, 0.05, -0.1)) - 0.05).abs() < 1e-15);
    }

    proptest! {
        /// No point of the solid is nearer than the distance says, and one is as near.
        #[test]
        fn distance_is_that_of_the_nearest_point(p in vector(0.2), q in vector(1.0)) {
            let rho = 0.02 * (q.x.abs()).sqrt();
            let inside = Vector3::new(rho * (9.0 * q.y).cos(), rho * (9.0 * q.y).sin(), -0.06 * q.z.abs());
            prop_assert!((inside - p).norm() >= CUP.distance(&p) - 1e-15);
            let nearest = CUP.nearest(&p);
            prop_assert!(CUP.distance(&nearest) < 1e-15);
        }

        #[test]
        fn gap_to_a_segment_is_the_least_over_its_points(
            a in vector(0.2), b in vector(0.2), radius_a_m in 0.0..0.02_f64, radius_b_m in 0.0..0.02_f64,
        ) {
            let gap = CUP.gap_to_segment(&a, &b, radius_a_m, radius_b_m);
            let at = |t: f64| CUP.distance(&(a + (b - a) * t)) - (radius_a_m + (radius_b_m - radius_a_m) * t);
            let sampled = (0..=2000).map(|i| at(f64::from(i) / 2000.0)).fold(f64::INFINITY, f64::min);
            // between two samples the gap changes by no more than the length between them
            prop_assert!(gap <= sampled + 1e-9);
            prop_assert!(gap >= sampled - (b - a).norm() / 2000.0 - 0.02 / 2000.0);
        }

        /// A box touches where some point of it lies inside, and not where a plane parts the two.
        #[test]
        fn boxes_that_hold_a_point_of_the_cup_touch_it(middle in vector(0.1), turn in vector(3.0), p in vector(1.0)) {
            let size_m = [0.05, 0.03, 0.08];
            let tool_from_box = Isometry3::new(middle, turn);
            let touches = CUP.touches_box(&tool_from_box, &size_m);
            let corner = Vector3::new(0.025 * p.x, 0.015 * p.y, 0.04 * p.z);
            if CUP.distance(&(tool_from_box * nalgebra::Point3::from(corner)).coords) < 1e-9 {
                prop_assert!(touches);
            }
            let apart = middle.z - 0.05 > 0.0 || middle.z + 0.05 < -0.06 || middle.x.hypot(middle.y) > 0.02 + 0.05;
            if apart {
                prop_assert!(!touches);
            }
        }
    }
}
