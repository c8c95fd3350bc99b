//! What the decisions would leave, were they carried out exactly.

use crate::allowance::{Allowance, tree_name};
use crate::case::Case;
use crate::figure::{Figure, Share};
use corymb_model::decisions::{Action, Decision, Decisions};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Decisions against truth.
///
/// A true cluster is judged alone where the cluster limit settles how much of its considered fruit stays: not where its
/// tree's bound holds, where something of it is pinned, or where the spacing to another cluster of its limb does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DecisionScores {
    /// Clusters left as full as allowed.
    pub as_allowed: Share,
    /// The same, of those that held more than allowed.
    pub as_allowed_of_overfull: Share,
    /// Clusters left without fruit.
    pub all_gone: Share,
    /// Clusters left with less than allowed.
    pub too_few: Share,
    /// Clusters left with more than allowed.
    pub overloaded: Share,
    /// Overfull clusters thinned as allowed, with a considered king, that keep it.
    pub king_kept: Share,
    /// Decisions to look again.
    pub look_again: Share,
    /// Removals of map fruitlets that are no true one.
    pub removals_of_nothing: Share,
    /// Map fruitlets that should have a decision and have none.
    pub without_decision: usize,
    /// Clusters not judged alone because their tree's bound holds.
    pub not_judged_tree_bound: usize,
    /// Clusters not judged alone because of a pin.
    pub not_judged_pinned: usize,
    /// Clusters not judged alone because of the spacing.
    pub not_judged_spacing: usize,
    /// Fruit left and allowed on each tree, in the order of names.
    pub loads: Vec<TreeLoadScore>,
    /// Mean over the trees of |left - allowed| / allowed.
    pub load_error_share: Figure,
}

/// Fruit left on a tree.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TreeLoadScore {
    /// Name of the tree.
    pub tree: String,
    /// Considered fruit that the decisions leave.
    pub left: usize,
    /// What the policy allows.
    pub allowed: usize,
    /// Whether the tree's bound is less than its clusters may keep.
    pub bound_holds: bool,
}

/// Scores the decisions.
pub(crate) fn decisions(
    case: &Case<'_>,
    decisions: &Decisions,
    allowance: &Allowance,
) -> DecisionScores {
    let actions: BTreeMap<usize, Action> = decisions
        .decisions
        .iter()
        .map(|d| (d.fruitlet_idx, d.action))
        .collect();
    let removed: Vec<usize> = actions
        .iter()
        .filter(|a| *a.1 == Action::Remove)
        .map(|a| *a.0)
        .collect();
    let gone = gone(case, decisions);
    let settled = settled(case, allowance, &gone);
    let count = |wanted: &dyn Fn(&Cluster<'_>) -> bool| {
        Share::of(
            settled.iter().map(wanted),
            "no true cluster is settled by the cluster limit alone",
        )
    };
    let overfull = || settled.iter().filter(|c| c.members.len() > c.allowed);
    let nothing = (removed.iter())
        .filter(|&&k| case.truth_of(k).is_some() || case.is_false(k))
        .map(|&k| case.is_false(k));
    let loads = loads(case, allowance, &gone);
    DecisionScores {
        as_allowed: count(&|c| c.left == c.allowed),
        as_allowed_of_overfull: Share::of(
            overfull().map(|c| c.left == c.allowed),
            "no such cluster is overfull",
        ),
        all_gone: count(&|c| c.left == 0),
        too_few: count(&|c| c.left < c.allowed),
        overloaded: count(&|c| c.left > c.allowed),
        king_kept: king_kept(case, overfull(), &gone),
        look_again: Share::of(
            actions.values().map(|&a| a == Action::LookAgain),
            "there are no decisions",
        ),
        removals_of_nothing: Share::of(nothing, "nothing is to be removed"),
        without_decision: case
            .decided()
            .filter(|(k, _)| !actions.contains_key(k))
            .count(),
        not_judged_tree_bound: allowance.unsettled.tree_bound,
        not_judged_pinned: allowance.unsettled.pinned,
        not_judged_spacing: allowance.unsettled.spacing,
        load_error_share: load_error_share(&loads),
        loads,
    }
}

/// True fruit that the decisions remove.
fn gone(case: &Case<'_>, decisions: &Decisions) -> BTreeSet<usize> {
    let removed = decisions
        .decisions
        .iter()
        .filter(|d| d.action == Action::Remove);
    removed
        .filter_map(|d| case.truth_of(d.fruitlet_idx))
        .collect()
}

/// The clusters that are judged alone, after the decisions.
fn settled<'a>(case: &Case<'a>, allowance: &Allowance, gone: &BTreeSet<usize>) -> Vec<Cluster<'a>> {
    let cluster = |&c: &usize| Cluster::of(case, allowance, gone, c);
    allowance.settled.iter().map(cluster).collect()
}

/// Confidence of each decision that acts, and whether the action is right: the fruit exists, and the decisions together
/// leave its true cluster as full as allowed. Fruit of clusters that are not judged alone is left out.
pub(crate) fn decided_rightly(
    case: &Case<'_>,
    decisions: &Decisions,
    allowance: &Allowance,
) -> Vec<(f64, bool)> {
    let right: BTreeMap<usize, bool> = as_allowed(case, decisions, allowance).into_iter().collect();
    let statement = |d: &Decision| {
        if d.action == Action::LookAgain {
            return None;
        }
        let held = match case.truth_of(d.fruitlet_idx) {
            None if case.is_silent(d.fruitlet_idx) => return None,
            None => false,
            Some(g) => *right.get(&case.clusters.cluster_of(g))?,
        };
        Some((d.confidence, held))
    };
    decisions.decisions.iter().filter_map(statement).collect()
}

/// Whether the decisions leave each cluster that is judged alone (by its number) as full as allowed.
pub(crate) fn as_allowed(
    case: &Case<'_>,
    decisions: &Decisions,
    allowance: &Allowance,
) -> Vec<(usize, bool)> {
    let after = settled(case, allowance, &gone(case, decisions));
    let numbers = allowance.settled.iter().copied();
    numbers
        .zip(after.iter().map(|c| c.left == c.allowed))
        .collect()
}

/// Whether the clusters that end as full as allowed keep their kings.
fn king_kept<'c>(
    case: &Case<'_>,
    overfull: impl Iterator<Item = &'c Cluster<'c>>,
    gone: &BTreeSet<usize>,
) -> Share {
    let is_king = |g: &usize| case.truth().fruitlets.get(*g).is_some_and(|t| t.king);
    let kings = overfull
        .filter(|c| c.left == c.allowed)
        .filter_map(|c| c.members.iter().copied().find(is_king));
    Share::of(
        kings.map(|g| !gone.contains(&g)),
        "no overfull cluster with a considered king is thinned as allowed",
    )
}

fn load_error_share(loads: &[TreeLoadScore]) -> Figure {
    let off = |l: &TreeLoadScore| l.left.abs_diff(l.allowed) as f64 / l.allowed.max(1) as f64;
    let sum = loads.iter().map(off).sum();
    Figure::ratio(sum, loads.len() as f64, loads.len(), "there is no tree")
}

/// A true cluster after the decisions.
struct Cluster<'a> {
    members: &'a [usize],
    allowed: usize,
    left: usize,
}

impl<'a> Cluster<'a> {
    fn of(case: &Case<'a>, allowance: &Allowance, gone: &BTreeSet<usize>, cluster: usize) -> Self {
        let members: &[usize] = case
            .clusters
            .considered
            .get(cluster)
            .map_or(&[], Vec::as_slice);
        let allowed = allowance.leave.get(cluster).copied().unwrap_or(0);
        Self {
            members,
            allowed,
            left: members.iter().filter(|g| !gone.contains(g)).count(),
        }
    }
}

fn loads(case: &Case<'_>, allowance: &Allowance, gone: &BTreeSet<usize>) -> Vec<TreeLoadScore> {
    let left_on = |tree: &str| -> usize {
        let on_tree = case
            .clusters
            .judged()
            .filter(|(_, m)| tree_name(case, m) == Some(tree));
        on_tree
            .map(|(_, m)| m.iter().filter(|g| !gone.contains(g)).count())
            .sum()
    };
    let row = |(tree, allowed): (&String, &crate::allowance::TreeAllowance)| TreeLoadScore {
        tree: tree.clone(),
        left: left_on(tree),
        allowed: allowed.load,
        bound_holds: allowed.bound_holds,
    };
    allowance.trees.iter().map(row).collect()
}
