//! The best one-to-one pairs of a sparse bipartite graph.

use corymb_geometry::assign::assign;
use petgraph::unionfind::UnionFind;
use std::collections::BTreeMap;

/// Of all one-to-one sets of pairs the one of least total cost; a pair costs what its edge says and nothing must be
/// paired, so edges of positive cost are of no use. Edges are `(left, right, cost)`; where a pair has several, the
/// last one holds. Pairs come ascending.
///
/// The graph falls into components, each of which is solved densely: O(n^2 m) for a component of n left and m
/// right nodes.
pub(crate) fn best_pairs(edges: &[(usize, usize, f64)]) -> Vec<(usize, usize)> {
    let lefts = position_of(edges.iter().map(|e| e.0));
    let rights = position_of(edges.iter().map(|e| e.1));
    let mut joined = UnionFind::<usize>::new(lefts.len() + rights.len());
    for (left, right, _) in edges {
        joined.union(lefts[left], lefts.len() + rights[right]);
    }
    let mut components = BTreeMap::<usize, Vec<(usize, usize, f64)>>::new();
    for &edge in edges {
        components
            .entry(joined.find(lefts[&edge.0]))
            .or_default()
            .push(edge);
    }
    let mut pairs: Vec<(usize, usize)> = components
        .values()
        .flat_map(|part| best_pairs_of_component(part))
        .collect();
    pairs.sort_unstable();
    pairs
}

/// Distinct keys, numbered in ascending order.
fn position_of(keys: impl Iterator<Item = usize>) -> BTreeMap<usize, usize> {
    let mut positions: BTreeMap<usize, usize> = keys.map(|k| (k, 0)).collect();
    for (position, (_, slot)) in positions.iter_mut().enumerate() {
        *slot = position;
    }
    positions
}

fn best_pairs_of_component(edges: &[(usize, usize, f64)]) -> Vec<(usize, usize)> {
    let lefts = position_of(edges.iter().map(|e| e.0));
    let rights = position_of(edges.iter().map(|e| e.1));
    let mut cost = vec![f64::INFINITY; lefts.len() * rights.len()];
    for (left, right, c) in edges {
        cost[lefts[left] * rights.len() + rights[right]] = *c;
    }
    let columns = assign(&cost, lefts.len(), rights.len(), &vec![0.0; lefts.len()]);
    let right_keys: Vec<usize> = rights.keys().copied().collect();
    (lefts.keys().zip(columns))
        .filter_map(|(&left, column)| Some((left, right_keys[column?])))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::best_pairs;
    use proptest::prelude::*;

    /// The least total cost by trying every choice for every left node in turn.
    fn least_by_trying(edges: &[(usize, usize, f64)], left: usize, used: u32) -> f64 {
        if left == 6 {
            return 0.0;
        }
        let here = edges
            .iter()
            .filter(|e| e.0 == left && used & (1 << e.1) == 0);
        let taken = here.map(|e| e.2 + least_by_trying(edges, left + 1, used | (1 << e.1)));
        taken.fold(least_by_trying(edges, left + 1, used), f64::min)
    }

    proptest! {
        #[test]
        fn pairs_are_as_good_as_any(
            cells in prop::collection::btree_map((0usize..6, 0usize..6), -9.0..1.0_f64, 0..20),
        ) {
            let edges: Vec<_> = cells.iter().map(|(&(left, right), &cost)| (left, right, cost)).collect();
            let pairs = best_pairs(&edges);
            let total: f64 = pairs.iter().map(|pair| cells[pair]).sum();
            prop_assert!((total - least_by_trying(&edges, 0, 0)).abs() < 1e-9);
            prop_assert!(pairs.is_sorted());
            for side in [pairs.iter().map(|p| p.0).collect::<Vec<_>>(), pairs.iter().map(|p| p.1).collect()] {
                prop_assert!(side.iter().all(|k| side.iter().filter(|other| *other == k).count() == 1));
            }
        }

        #[test]
        fn the_order_of_edges_does_not_matter(
            cells in prop::collection::btree_map((0usize..6, 0usize..6), -9.0..-1.0_f64, 0..20),
        ) {
            let mut edges: Vec<_> = cells.iter().map(|(&(left, right), &cost)| (left, right, cost)).collect();
            let pairs = best_pairs(&edges);
            edges.reverse();
            prop_assert_eq!(pairs, best_pairs(&edges));
        }
    }

    /// The example of `scipy.optimize.linear_sum_assignment` (SciPy 1.17.1): columns 1, 0, 2 at a cost of 5.
    #[test]
    fn the_example_of_scipy() {
        let cost = [[4.0, 1.0, 3.0], [2.0, 0.0, 5.0], [3.0, 2.0, 2.0]];
        let edges: Vec<_> = (0..9)
            .map(|k| (k / 3, k % 3, cost[k / 3][k % 3] - 100.0))
            .collect();
        assert_eq!(best_pairs(&edges), [(0, 1), (1, 0), (2, 2)]);
    }
}
