//! Which clusters and fruit belong to which tree.

use crate::Input;
use crate::rank::Ranks;
use crate::standing::Standing;
use std::collections::BTreeSet;

/// A tree with what hangs on it.
#[derive(Debug)]
pub(crate) struct TreeGroup {
    /// Position in the orchard; `None` for fruit without a tree.
    pub(crate) tree_idx: Option<usize>,
    /// Its clusters, by id.
    pub(crate) clusters: Vec<usize>,
    /// Its fruit that gets a decision, by id.
    pub(crate) fruit: Vec<usize>,
}

/// Every tree of the orchard in its order, then fruit without a tree where there is any. A fruitlet is on the tree
/// of its cluster. O(n log n).
pub(crate) fn group(input: &Input<'_>, ranks: &Ranks, standing: &Standing) -> Vec<TreeGroup> {
    let known = input.orchard.map_or(0, |o| o.trees.len());
    let mut keys: BTreeSet<(bool, Option<usize>)> = (0..known).map(|t| (false, Some(t))).collect();
    keys.extend(
        input
            .map
            .clusters
            .iter()
            .map(|c| (c.tree_idx.is_none(), c.tree_idx)),
    );
    let mut by_id: Vec<usize> = (0..input.map.clusters.len()).collect();
    by_id.sort_by_key(|&c| ranks.cluster[c]);
    let on = |tree_idx: Option<usize>| -> TreeGroup {
        let on_tree = |c: &usize| {
            input
                .map
                .clusters
                .get(*c)
                .is_some_and(|k| k.tree_idx == tree_idx)
        };
        let clusters: Vec<usize> = by_id.iter().copied().filter(on_tree).collect();
        let mut fruit: Vec<usize> = clusters
            .iter()
            .flat_map(|&c| standing.members[c].iter().copied())
            .collect();
        fruit.sort_by_key(|&i| ranks.fruitlet[i]);
        TreeGroup {
            tree_idx,
            clusters,
            fruit,
        }
    };
    keys.into_iter().map(|(_, tree_idx)| on(tree_idx)).collect()
}
