//! Who is near: a k-d tree with answers in a total order.

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Vector3;
use std::num::NonZero;

/// Points that can be asked for their neighbours. No points, no neighbours.
pub(crate) struct Neighbours {
    points: Vec<[f64; 3]>,
    tree: Option<ImmutableKdTree<f64, 3>>,
}

impl Neighbours {
    /// Over `points` (any one frame, metres). O(n log n).
    pub(crate) fn of<'p>(points: impl IntoIterator<Item = &'p Vector3<f64>>) -> Self {
        let points: Vec<[f64; 3]> = points.into_iter().map(|p| (*p).into()).collect();
        // an empty tree would answer with item 0
        let tree = if points.is_empty() {
            None
        } else {
            ImmutableKdTree::new_from_slice(&points).ok()
        };
        Self { points, tree }
    }

    /// Positions of the points within `radius_m` of `p` (bound included), ascending.
    pub(crate) fn within(&self, p: &Vector3<f64>, radius_m: f64) -> Vec<usize> {
        let Some(tree) = &self.tree else {
            return Vec::new();
        };
        // a hair wider, then exact: the tree's own rounding must not decide
        let wide = (radius_m * (1.0 + 1e-9)).powi(2);
        let found = tree
            .query(&(*p).into())
            .within::<SquaredEuclidean<f64>>(wide)
            .unsorted()
            .execute();
        let mut near: Vec<usize> = found.iter().map(|hit| hit.item as usize).collect();
        near.retain(|&k| self.distance(k, p) <= radius_m);
        near.sort_unstable();
        near
    }

    /// Positions of the `n` nearest points, nearest first, equal distances by position.
    pub(crate) fn nearest(&self, p: &Vector3<f64>, n: usize) -> Vec<usize> {
        let (Some(tree), Some(n)) = (&self.tree, NonZero::new(n)) else {
            return Vec::new();
        };
        let found = tree
            .query(&(*p).into())
            .nearest_n::<SquaredEuclidean<f64>>(n)
            .execute();
        let mut near: Vec<(f64, usize)> = found
            .iter()
            .map(|hit| (self.distance(hit.item as usize, p), hit.item as usize))
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        near.into_iter().map(|(_, k)| k).collect()
    }

    fn distance(&self, k: usize, p: &Vector3<f64>) -> f64 {
        self.points
            .get(k)
            .map_or(f64::INFINITY, |q| (Vector3::from(*q) - p).norm())
    }
}

#[cfg(test)]
mod tests {
    use super::Neighbours;
    use nalgebra::Vector3;
    use proptest::prelude::*;

    /// Points on a coarse lattice, so that ties and duplicates are common.
    fn points() -> impl Strategy<Value = Vec<Vector3<f64>>> {
        let axis = || (0..5i32).prop_map(|k| f64::from(k) * 0.25);
        prop::collection::vec(
            (axis(), axis(), axis()).prop_map(|(x, y, z)| Vector3::new(x, y, z)),
            0..60,
        )
    }

    proptest! {
        #[test]
        fn within_is_what_brute_force_finds(points in points(), radius_m in 0.0..1.0_f64) {
            let near = Neighbours::of(&points);
            let centre = Vector3::new(0.5, 0.25, 0.75);
            for radius_m in [radius_m, 0.25, 0.5] {
                let brute: Vec<usize> = (0..points.len()).filter(|&k| (points[k] - centre).norm() <= radius_m).collect();
                prop_assert_eq!(near.within(&centre, radius_m), brute);
            }
        }

        #[test]
        fn nearest_are_as_near_as_brute_force_finds(points in points(), n in 0usize..20) {
            let centre = Vector3::new(0.4, 0.3, 0.75);
            let near = Neighbours::of(&points).nearest(&centre, n);
            let mut brute: Vec<f64> = points.iter().map(|p| (p - centre).norm()).collect();
            brute.sort_by(f64::total_cmp);
            brute.truncate(n);
            let found: Vec<f64> = near.iter().map(|&k| (points[k] - centre).norm()).collect();
            prop_assert_eq!(found, brute);
        }
    }
}
