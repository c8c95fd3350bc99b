//! Which tree and limb the fruit is on.

use crate::case::Case;
use crate::figure::{Figure, Share};
use serde::Serialize;
use std::collections::BTreeMap;

/// Trees and limbs against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TreeScores {
    /// Matched, considered fruit on the right tree.
    pub tree: Share,
    /// Matched, considered fruit on the right limb, of that whose true limb is known.
    pub limb: Share,
    /// Mean over the trees of |map - considered| / considered.
    pub count_error_share: Figure,
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
        count_error_share: count_error_share(case),
    }
}

/// By the considered fruit of each tree.
fn count_error_share(case: &Case<'_>) -> Figure {
    if case.input.run.orchard.is_none() {
        return Figure::new(None, 0, NO_ORCHARD);
    }
    let mut truth = BTreeMap::<&str, usize>::new();
    for &g in case.clusters.considered.iter().flatten() {
        if let Some(tree) = case.truth().tree_of(g) {
            *truth.entry(tree).or_default() += 1;
        }
    }
    let mut map = BTreeMap::<&str, usize>::new();
    for tree in case.judged().filter_map(|(_, f)| case.tree_of(f)) {
        *map.entry(tree).or_default() += 1;
    }
    let off = |(tree, &truth): (&&str, &usize)| {
        map.get(tree).copied().unwrap_or(0).abs_diff(truth) as f64 / truth as f64
    };
    let n = truth.len();
    let none = "no tree has fruit seen in two images";
    Figure::ratio(truth.iter().map(off).sum(), n as f64, n, none)
}

/// Stated probability of the tree of matched fruit, and whether it is the true one; nothing where trees are not known.
pub(crate) fn on_tree(case: &Case<'_>) -> Vec<(f64, bool)> {
    let known = case.input.run.orchard.is_some();
    case.pairs()
        .filter(|_| known)
        .map(|(_, f, t)| (f.tree_probability, case.tree_of(f) == Some(t.tree.as_str())))
        .collect()
}
