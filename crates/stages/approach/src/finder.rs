//! Points found by place.

use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Vector3;

/// Finds points by place.
pub(crate) struct Finder {
    points: Vec<[f64; 3]>,
    /// `None` of no points, or of points that the tree cannot hold: then each is asked.
    tree: Option<ImmutableKdTree<f64, 3>>,
}

impl Finder {
    /// Cost: n log n.
    pub(crate) fn new(points: Vec<[f64; 3]>) -> Self {
        let tree = if points.is_empty() {
            None
        } else {
            ImmutableKdTree::new_from_slice(&points).ok()
        };
        Self { points, tree }
    }

    /// Positions of the points within `radius`, ascending.
    pub(crate) fn within(&self, at: &Vector3<f64>, radius: f64) -> Vec<usize> {
        let place: [f64; 3] = (*at).into();
        let Some(tree) = &self.tree else {
            let near = |p: &[f64; 3]| (Vector3::from(*p) - at).norm_squared() <= radius * radius;
            return self
                .points
                .iter()
                .enumerate()
                .filter(|(_, p)| near(p))
                .map(|(i, _)| i)
                .collect();
        };
        let found = tree
            .query(&place)
            .within::<SquaredEuclidean<f64>>(radius * radius)
            .unsorted()
            .execute();
        let mut items: Vec<usize> = found
            .iter()
            .filter_map(|r| usize::try_from(r.item).ok())
            .collect();
        items.sort_unstable();
        items
    }
}

#[cfg(test)]
mod tests {
    use super::Finder;
    use nalgebra::Vector3;

    #[test]
    fn nothing_is_near_nothing() {
        assert!(
            Finder::new(Vec::new())
                .within(&Vector3::zeros(), 10.0)
                .is_empty()
        );
    }

    #[test]
    fn finds_what_a_plain_search_finds() {
        // a lattice with ties at the radius, more points in a plane than one leaf holds, and repeats
        let lattice = (0..343).map(|i| [f64::from(i % 7), f64::from(i / 7 % 7), f64::from(i / 49)]);
        let points: Vec<[f64; 3]> = lattice.chain((0..60).map(|_| [1.0, 2.0, 3.0])).collect();
        let finder = Finder::new(points.clone());
        for (at, radius) in [
            ([3.0, 3.0, 3.0], 2.0),
            ([1.0, 2.0, 3.0], 0.0),
            ([9.0, 0.5, 0.5], 3.5),
        ] {
            let at = Vector3::from(at);
            let near = |p: &[f64; 3]| (Vector3::from(*p) - at).norm_squared() <= radius * radius;
            let plain: Vec<usize> = (0..points.len()).filter(|&i| near(&points[i])).collect();
            assert_eq!(finder.within(&at, radius), plain);
        }
    }
}
