//! Which fruit share a spur, where the spur is, and which of them is the king.

use crate::case::Case;
use crate::figure::{Reliability, Share, Spread};
use crate::partition::{PartitionScores, compare_partitions};
use serde::Serialize;
use std::collections::BTreeMap;

/// Clusters against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClusterScores {
    /// True clusters whose considered fruit is all found, in one map cluster, with nothing else in it.
    pub exact: Share,
    /// Map clusters that hold fruit of one true cluster and nothing else.
    pub pure: Share,
    /// Agreement over the matched, considered fruit.
    #[serde(flatten)]
    pub agreement: PartitionScores,
    /// Distance of a map cluster's spur from the mean of the stems' ends of the true cluster that most of its fruit is of.
    pub spur_error_mm: Spread,
    /// Stated membership against whether the fruitlet is of the true cluster that most of its map cluster is of.
    pub membership: Reliability,
}

/// Kings against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KingScores {
    /// True clusters of two and more with a considered king whose king is the surest king among their found fruit.
    pub right: Share,
    /// Stated probability to be king against truth, of matched fruit.
    pub probability: Reliability,
}

/// Scores the clusters.
pub(crate) fn clusters(case: &Case<'_>) -> ClusterScores {
    let in_map = case.map_clusters();
    let truth_of = |k: usize| case.truth_of(k).map(|g| case.clusters.cluster_of(g));
    let is_pure = |members: &Vec<usize>| {
        let first = members.first().and_then(|&k| truth_of(k));
        first.is_some() && members.iter().all(|&k| truth_of(k) == first)
    };
    let exact = case
        .clusters
        .judged()
        .map(|(c, members)| is_exact(case, &in_map, c, members));
    let things: Vec<(usize, usize)> = (case.matching.both.iter())
        .map(|&(k, g)| {
            (
                case.clusters.cluster_of(g),
                case.map.fruitlets[k].cluster_idx,
            )
        })
        .collect();
    let most: BTreeMap<usize, usize> = in_map
        .iter()
        .filter_map(|(&c, members)| {
            Some((c, most_common(members.iter().filter_map(|&k| truth_of(k)))?))
        })
        .collect();
    let spur = |(&c, &t): (&usize, &usize)| {
        let at = case.map.clusters.get(c)?.spur.xyz + case.moved.cluster.get(c)?;
        Some(1e3 * (at - case.clusters.spur.get(t)?).norm())
    };
    let membership: Vec<(f64, bool)> = case
        .pairs()
        .map(|(k, f, _)| {
            (
                f.cluster_probability,
                truth_of(k).as_ref() == most.get(&f.cluster_idx),
            )
        })
        .collect();
    ClusterScores {
        exact: Share::of(exact, "no true cluster has fruit seen in two images"),
        pure: Share::of(in_map.values().map(is_pure), "the map has no cluster"),
        agreement: compare_partitions(&things),
        spur_error_mm: Spread::of(
            most.iter().filter_map(spur).collect(),
            "no map cluster holds a true fruitlet",
        ),
        membership: Reliability::of(&membership, "no considered fruitlet is matched"),
    }
}

/// All considered fruit of a true cluster is in one map cluster, and whatever else is there (fruit of the same cluster
/// that was seen only once) belongs there too.
fn is_exact(
    case: &Case<'_>,
    in_map: &BTreeMap<usize, Vec<usize>>,
    true_cluster: usize,
    members: &[usize],
) -> bool {
    let home = |g: usize| {
        case.map_of(g)
            .and_then(|k| case.map.fruitlets.get(k))
            .map(|f| f.cluster_idx)
    };
    let Some(first) = members.first().and_then(|&g| home(g)) else {
        return false;
    };
    let belongs = |&k: &usize| {
        case.truth_of(k)
            .is_some_and(|g| case.clusters.cluster_of(g) == true_cluster)
    };
    members.iter().all(|&g| home(g) == Some(first))
        && in_map
            .get(&first)
            .is_some_and(|all| all.iter().all(belongs))
}

/// The most common value, the least of them where several are.
fn most_common(values: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts = BTreeMap::<usize, usize>::new();
    for value in values {
        *counts.entry(value).or_default() += 1;
    }
    counts
        .into_iter()
        .max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)))
        .map(|(value, _)| value)
}

/// Scores the kings.
pub(crate) fn kings(case: &Case<'_>) -> KingScores {
    let is_king = |g: usize| case.truth().fruitlets.get(g).is_some_and(|t| t.king);
    let judged = case
        .clusters
        .judged()
        .filter(|(_, members)| members.len() > 1);
    let right = judged.filter_map(|(_, members)| {
        let king = members.iter().copied().find(|&g| is_king(g))?;
        let stated = |g: usize| Some(case.map.fruitlets.get(case.map_of(g)?)?.king_probability);
        let mut others = members
            .iter()
            .filter(|&&g| !is_king(g))
            .filter_map(|&g| stated(g));
        // a tie is no answer
        Some(stated(king).is_some_and(|p| others.all(|q| p > q)))
    });
    let statements: Vec<(f64, bool)> = case
        .pairs()
        .map(|(_, f, t)| (f.king_probability, t.king))
        .collect();
    KingScores {
        right: Share::of(
            right,
            "no true cluster of two or more has a considered king",
        ),
        probability: Reliability::of(&statements, "no considered fruitlet is matched"),
    }
}
