//! Which tree and limb the fruit is on, and how many there are on each tree.

use crate::case::Case;
use crate::figure::{Figure, Share};
use serde::Serialize;
use std::collections::BTreeSet;

/// Trees and limbs against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TreeScores {
    /// Matched, considered fruit on the right tree.
    pub tree: Share,
    /// Matched, considered fruit on the right limb, of that whose true limb is known.
    pub limb: Share,
    /// Counts, one row a true tree in the order of names, then all together.
    pub counts: Vec<TreeCount>,
    /// Mean over the trees of |map - considered| / considered.
    pub count_error_share: Figure,
}

/// Fruit on a tree.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TreeCount {
    /// Name of the tree; `null` for all together.
    pub tree: Option<String>,
    /// True fruitlets.
    pub truth: usize,
    /// True fruitlets seen in at least two images.
    pub considered: usize,
    /// Map fruitlets that get decisions.
    pub map: usize,
    /// Map fruitlets and the estimate of those never seen; `null` where the decisions state none.
    pub map_and_unseen: Option<f64>,
}

pub(crate) const NO_ORCHARD: &str = "the run has no orchard file, so trees are not known";

/// Scores trees, limbs and counts.
pub(crate) fn trees(case: &Case<'_>) -> TreeScores {
    let known = case.input.run.orchard.is_some();
    let because = if known {
        "no considered fruitlet is matched"
    } else {
        NO_ORCHARD
    };
    let on_tree = on_tree(case);
    let on_limb = case.pairs().filter(|_| known).filter_map(|(_, f, t)| {
        let limb = t.limb.as_deref()?;
        Some(case.limb_of(f) == Some(limb))
    });
    let counts = counts(case, known);
    let trees: Vec<&TreeCount> = counts
        .iter()
        .filter(|c| c.tree.is_some() && c.considered > 0)
        .collect();
    let off: f64 = trees
        .iter()
        .map(|c| c.map.abs_diff(c.considered) as f64 / c.considered as f64)
        .sum();
    let no_tree = if known {
        "no tree has fruit seen in two images"
    } else {
        NO_ORCHARD
    };
    let count_error_share = Figure::ratio(off, trees.len() as f64, trees.len(), no_tree);
    TreeScores {
        tree: Share::of(on_tree.iter().map(|t| t.1), because),
        limb: Share::of(
            on_limb,
            if known {
                "no matched fruitlet has a known true limb"
            } else {
                NO_ORCHARD
            },
        ),
        counts,
        count_error_share,
    }
}

fn counts(case: &Case<'_>, trees_known: bool) -> Vec<TreeCount> {
    let truth = &case.truth().fruitlets;
    let names: BTreeSet<&str> = truth
        .iter()
        .filter(|_| trees_known)
        .map(|t| t.tree.as_str())
        .collect();
    let row = |tree: Option<&str>| {
        let on = |name: Option<&str>| tree.is_none() || name == tree;
        let of_tree = || {
            truth
                .iter()
                .enumerate()
                .filter(|(_, t)| on(Some(t.tree.as_str())))
        };
        let map = case.decided().filter(|(_, f)| on(case.tree_of(f))).count();
        TreeCount {
            tree: tree.map(str::to_owned),
            truth: of_tree().count(),
            considered: of_tree()
                .filter(|(g, _)| case.labels.considered(*g))
                .count(),
            map,
            map_and_unseen: unseen(case, tree).map(|unseen| map as f64 + unseen),
        }
    };
    names.into_iter().map(Some).chain([None]).map(row).collect()
}

/// The estimate of fruit never seen on a tree, or on all.
fn unseen(case: &Case<'_>, tree: Option<&str>) -> Option<f64> {
    let name = |tree_idx: Option<usize>| {
        let trees = &case.input.run.orchard.as_ref()?.trees;
        trees.get(tree_idx?).map(|t| t.id.as_str())
    };
    let loads = &case.input.decisions?.trees;
    let mut here = loads
        .iter()
        .filter(|l| tree.is_none() || name(l.tree_idx) == tree)
        .peekable();
    here.peek()?;
    Some(here.map(|l| l.unseen).sum())
}

/// Stated probability of the tree of matched fruit, and whether it is the true one; nothing where trees are not known.
pub(crate) fn on_tree(case: &Case<'_>) -> Vec<(f64, bool)> {
    let known = case.input.run.orchard.is_some();
    case.pairs()
        .filter(|_| known)
        .map(|(_, f, t)| (f.tree_probability, case.tree_of(f) == Some(t.tree.as_str())))
        .collect()
}
