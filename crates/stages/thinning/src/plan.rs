//! The choice for one tree.

use crate::candidates::Candidate;
use crate::limb::{Choice, LimbTable, Site};
use crate::score::Score;
use crate::target::{self, TreeTarget};
use crate::tree::TreeGroup;
use crate::unseen::chao;
use crate::{Config, Input, combine};
use corymb_model::policy::Policy;
use std::collections::{BTreeMap, BTreeSet};

/// What was chosen for a tree.
#[derive(Debug)]
pub(crate) struct TreePlan {
    /// What the bounds say.
    pub(crate) target: TreeTarget,
    /// Fruit to leave by decision.
    pub(crate) to_leave: Option<u64>,
    /// Whether that is less than clusters and spacing would have meant to stay.
    pub(crate) binds: bool,
    /// Fruit never seen.
    pub(crate) unseen: f64,
    /// Cluster and the position of the chosen one among its candidates, in the order of the tree's clusters.
    pub(crate) picks: Vec<(usize, usize)>,
}

/// Chooses for one tree: first without its target, and where that leaves too much once more with it.
pub(crate) fn of_tree(
    input: &Input<'_>,
    tree: &TreeGroup,
    candidates: &[Vec<Candidate<'_>>],
    config: &Config,
) -> TreePlan {
    let model = tree.tree_idx.and_then(|t| input.orchard?.trees.get(t));
    let target = target::of_tree(model, &input.policy.target, config);
    let unseen = unseen(input, tree);
    let losses = &input.policy.losses;
    let leave = |t: u64| target::to_leave(t, tree.fruit.len(), unseen, losses, config);
    let to_leave = target.target.map(|(t, _)| leave(t));
    let most = to_leave.map(|n| usize::try_from(n).unwrap_or(usize::MAX));

    let least_gap_m = least_gap_m(input.policy, config);
    let limbs = limbs(input, tree, candidates);
    let mut solved = Solved::of(&limbs, least_gap_m, None);
    let binds = most.is_some_and(|most| most < solved.count);
    if binds {
        solved = Solved::of(&limbs, least_gap_m, most);
    }
    let mut picks = solved.picks;
    let place: BTreeMap<usize, usize> =
        (tree.clusters.iter().enumerate().map(|(p, &c)| (c, p))).collect();
    picks.sort_by_key(|(cluster, _)| place.get(cluster));
    TreePlan {
        target,
        to_leave,
        binds,
        unseen,
        picks,
    }
}

/// The least gap between spurs that counts as far enough.
pub(crate) fn least_gap_m(policy: &Policy, config: &Config) -> Option<f64> {
    policy
        .spacing_along_limb_m
        .map(|spacing_m| spacing_m - config.spacing_slack_m)
}

/// Expected number of fruit never seen on a tree, from how often the others were seen; fruit without a decision counts
/// with its existence.
fn unseen(input: &Input<'_>, tree: &TreeGroup) -> f64 {
    let clusters: BTreeSet<usize> = tree.clusters.iter().copied().collect();
    let mut on_tree: Vec<_> = input.map.fruitlets.iter().collect();
    on_tree.retain(|f| f.views <= 2 && clusters.contains(&f.cluster_idx));
    // by id, so that the sums do not depend on the order of the input
    on_tree.sort_by(|a, b| a.id.cmp(&b.id));
    let seen = |times: usize| {
        on_tree
            .iter()
            .filter(|f| f.views == times)
            .map(|f| f.existence)
            .sum()
    };
    chao(seen(1), seen(2))
}

struct Solved {
    count: usize,
    picks: Vec<(usize, usize)>,
}

impl Solved {
    fn of(limbs: &[Vec<Site>], least_gap_m: Option<f64>, to_leave: Option<usize>) -> Self {
        let tables: Vec<LimbTable> = limbs
            .iter()
            .map(|limb| LimbTable::of(limb, least_gap_m))
            .collect();
        let scores: Vec<Vec<Option<Score>>> = tables.iter().map(LimbTable::scores).collect();
        let counts = combine::counts(&scores, to_leave);
        let mut picks = Vec::new();
        for ((limb, table), &count) in limbs.iter().zip(&tables).zip(&counts) {
            let traced = limb.iter().zip(table.trace(limb, count));
            picks.extend(
                traced.filter_map(|(s, c)| Some((s.cluster_idx, s.choices.get(c)?.candidate))),
            );
        }
        Self {
            count: counts.iter().sum(),
            picks,
        }
    }
}

/// The clusters of a tree by limb, ascending along it; a cluster without a place on a limb is a limb of its own.
fn limbs(input: &Input<'_>, tree: &TreeGroup, candidates: &[Vec<Candidate<'_>>]) -> Vec<Vec<Site>> {
    let mut on_limb: BTreeMap<usize, Vec<Site>> = BTreeMap::new();
    let mut alone = Vec::new();
    for &cluster_idx in &tree.clusters {
        let cluster = &input.map.clusters[cluster_idx];
        let choices = choices(&candidates[cluster_idx]);
        let along_m = cluster.along_limb_m.filter(|along_m| along_m.is_finite());
        match (cluster.limb_idx, along_m) {
            (Some(limb), Some(along_m)) => {
                on_limb.entry(limb).or_default().push(Site {
                    cluster_idx,
                    along_m,
                    choices,
                });
            }
            _ => alone.push(vec![Site {
                cluster_idx,
                along_m: 0.0,
                choices,
            }]),
        }
    }
    for sites in on_limb.values_mut() {
        // stable: clusters come by id, so equal places stay in that order
        sites.sort_by(|a, b| a.along_m.total_cmp(&b.along_m));
    }
    on_limb.into_values().chain(alone).collect()
}

/// The best candidate for each number of fruit meant to stay; of equal ones the first.
fn choices(candidates: &[Candidate<'_>]) -> Vec<Choice> {
    let mut best: BTreeMap<usize, Choice> = BTreeMap::new();
    for (candidate, c) in candidates.iter().enumerate() {
        let offer = Choice {
            stays: c.stays.len(),
            score: c.score,
            candidate,
        };
        let held = best.entry(offer.stays).or_insert(offer);
        if offer.score > held.score {
            *held = offer;
        }
    }
    best.into_values().collect()
}
