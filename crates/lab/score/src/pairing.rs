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
