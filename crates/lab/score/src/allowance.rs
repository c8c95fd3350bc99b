//! How much fruit each true cluster and tree may keep under the policy, had it been applied to the truth.

use crate::case::Case;
use corymb_geometry::solids::point_limb;
use corymb_model::orchard::{Limb, LimbKind, OrchardModel, Tree};
use corymb_model::policy::{Pinned, Policy};
use nalgebra::Vector3;
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::PI;

/// What the policy allows.
pub(crate) struct Allowance {
    /// Considered fruit that each true cluster may keep.
    pub(crate) leave: Vec<usize>,
    /// Clusters for which the cluster limit alone settles that number, ascending; only these are judged one by one.
    pub(crate) settled: Vec<usize>,
    /// Clusters that are not judged, and why.
    pub(crate) unsettled: Unsettled,
    /// Trees in the order of names.
    pub(crate) trees: BTreeMap<String, TreeAllowance>,
}

/// Clusters whose number depends on more than the cluster limit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Unsettled {
    /// Their tree's bound is less than the clusters would keep together.
    pub(crate) tree_bound: usize,
    /// Something of them is pinned.
    pub(crate) pinned: usize,
    /// Another cluster of their limb is nearer than the spacing, so that one of the two keeps none.
    pub(crate) spacing: usize,
}

/// What a tree may carry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TreeAllowance {
    /// The least of the bounds and of what the clusters may keep together.
    pub(crate) load: usize,
    /// Whether a bound is less than what the clusters may keep.
    pub(crate) bound_holds: bool,
}

impl Allowance {
    /// Applies the policy to the truth.
    pub(crate) fn of(case: &Case<'_>, policy: &Policy) -> Self {
        let leave: Vec<usize> = case
            .clusters
            .considered
            .iter()
            .map(|m| m.len().min(policy.keep_at_most))
            .collect();
        let trees = tree_allowances(case, policy, &leave);
        let pinned = pinned_clusters(case, policy);
        let crowded = crowded_clusters(case, policy);
        let mut allowance = Self {
            leave,
            settled: Vec::new(),
            unsettled: Unsettled::default(),
            trees,
        };
        for (c, members) in case.clusters.judged() {
            let bound = tree_name(case, members)
                .and_then(|t| allowance.trees.get(t))
                .is_some_and(|t| t.bound_holds);
            if bound {
                allowance.unsettled.tree_bound += 1;
            } else if pinned.contains(&c) {
                allowance.unsettled.pinned += 1;
            } else if crowded.contains(&c) {
                allowance.unsettled.spacing += 1;
            } else {
                allowance.settled.push(c);
            }
        }
        allowance
    }
}

/// Tree of a true cluster: that of its first considered fruitlet.
pub(crate) fn tree_name<'a>(case: &Case<'a>, members: &[usize]) -> Option<&'a str> {
    Some(case.truth().fruitlets.get(*members.first()?)?.tree.as_str())
}

fn tree_allowances(
    case: &Case<'_>,
    policy: &Policy,
    leave: &[usize],
) -> BTreeMap<String, TreeAllowance> {
    let mut of_clusters = BTreeMap::<&str, usize>::new();
    for fruit in &case.truth().fruitlets {
        of_clusters.entry(&fruit.tree).or_default();
    }
    for (c, members) in case.clusters.judged() {
        if let Some(tree) = tree_name(case, members) {
            *of_clusters.entry(tree).or_default() += leave.get(c).copied().unwrap_or(0);
        }
    }
    let trees_known = case.input.run.orchard.is_some();
    let tree = |name: &str| {
        case.true_orchard()
            .filter(|_| trees_known)?
            .trees
            .iter()
            .find(|t| t.id == name)
    };
    of_clusters
        .into_iter()
        .map(|(name, together)| {
            let bound = least_bound(policy, tree(name)).unwrap_or(u64::MAX);
            let bound = usize::try_from(bound).unwrap_or(usize::MAX);
            (
                name.to_owned(),
                TreeAllowance {
                    load: together.min(bound),
                    bound_holds: bound < together,
                },
            )
        })
        .collect()
}

/// The least bound that can be computed; each product is rounded down.
fn least_bound(policy: &Policy, tree: Option<&Tree>) -> Option<u64> {
    let disc_cm2 = |radius_m: f64| PI * (100.0 * radius_m).powi(2);
    let trunk_cm2 = tree
        .and_then(|t| t.trunk_diameter_m)
        .map(|d| disc_cm2(d / 2.0));
    let limb_cm2 = tree.map(|t| {
        let side = t.limbs.iter().filter(|l| l.kind == LimbKind::Limb);
        side.filter_map(|l| l.radii_m.first())
            .map(|&r| disc_cm2(r))
            .sum::<f64>()
    });
    let product = |rate: Option<f64>, area: Option<f64>| Some(rate? * area?);
    let bounds = [
        policy.target.fruit_per_tree,
        product(policy.target.fruit_per_cm2_trunk, trunk_cm2),
        product(
            policy.target.fruit_per_cm2_limb,
            limb_cm2.filter(|&a| a > 0.0),
        ),
    ];
    // a float to integer cast saturates
    bounds.into_iter().flatten().map(|b| b.floor() as u64).min()
}

/// True clusters with fruit that a pin of the policy holds.
fn pinned_clusters(case: &Case<'_>, policy: &Policy) -> BTreeSet<usize> {
    let mut pinned = BTreeSet::new();
    for (k, fruitlet) in case.decided() {
        let Some(truth_idx) = case.truth_of(k) else {
            continue;
        };
        let cluster = case
            .map
            .clusters
            .get(fruitlet.cluster_idx)
            .map(|c| c.id.as_str());
        let held = policy.pins.iter().any(|pin| match &pin.what {
            Pinned::Fruitlet(id) => *id == fruitlet.id,
            Pinned::Cluster(id) => Some(id.as_str()) == cluster,
            Pinned::Limb(id) => Some(id.as_str()) == case.limb_of(fruitlet),
            Pinned::Tree(id) => Some(id.as_str()) == case.tree_of(fruitlet),
        });
        if held {
            pinned.insert(case.clusters.cluster_of(truth_idx));
        }
    }
    pinned
}

/// True clusters with another one of the same limb nearer along it than the policy's spacing.
fn crowded_clusters(case: &Case<'_>, policy: &Policy) -> BTreeSet<usize> {
    let (Some(spacing_m), Some(orchard)) = (policy.spacing_along_limb_m, case.true_orchard())
    else {
        return BTreeSet::new();
    };
    let mut along = BTreeMap::<&str, Vec<(f64, usize)>>::new();
    for (c, members) in case.clusters.judged() {
        let first = members.first().and_then(|&g| case.truth().fruitlets.get(g));
        let limb = first
            .and_then(|t| t.limb.as_deref())
            .and_then(|id| find_limb(orchard, id));
        let (Some(limb), Some(spur)) = (limb, case.clusters.spur.get(c)) else {
            continue;
        };
        let axis: Vec<Vector3<f64>> = limb.points.iter().map(|p| p.xyz).collect();
        if let Some(at) = point_limb(spur, &axis, &limb.radii_m) {
            along.entry(&limb.id).or_default().push((at.arc_m, c));
        }
    }
    let mut crowded = BTreeSet::new();
    for clusters in along.values_mut() {
        clusters.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        for pair in clusters
            .windows(2)
            .filter(|pair| pair[1].0 - pair[0].0 < spacing_m)
        {
            crowded.extend([pair[0].1, pair[1].1]);
        }
    }
    crowded
}

fn find_limb<'o>(orchard: &'o OrchardModel, id: &str) -> Option<&'o Limb> {
    orchard
        .trees
        .iter()
        .flat_map(|t| &t.limbs)
        .find(|l| l.id == id)
}
