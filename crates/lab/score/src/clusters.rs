//! Which fruit share a spur, where the spur is, and which of them is the king.

use crate::case::Case;
use crate::figure::{Share, Spread};
use crate::partition::{PartitionScores, compare_partitions};
use corymb_model::map::Fruitlet;
use corymb_model::truth::TrueFruitlet;
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
}

/// Kings against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KingScores {
    /// True clusters of two and more with a considered king whose king is the surest king among their found fruit.
    pub right: Share,
}

/// Scores the clusters.
pub(crate) fn clusters(case: &Case<'_>) -> ClusterScores {
    let in_map = case.map_clusters();
    let truth_of = |k: usize| case.truth_of(k).map(|g| case.clusters.cluster_of(g));
    let is_pure = |members: &Vec<usize>| {
        let first = members.first().and_then(|&k| truth_of(k));
        first.is_some() && members.iter().all(|&k| truth_of(k) == first)
    };
    let exact = exactness(case).into_iter().map(|(_, exact)| exact);
    let things: Vec<(usize, usize)> = (case.matching.both.iter())
        .map(|&(k, g)| {
            (
                case.clusters.cluster_of(g),
                case.map.fruitlets[k].cluster_idx,
            )
        })
        .collect();
    let most = homes(case);
    let spur = |(&c, &t): (&usize, &usize)| {
        let at = case.map.clusters.get(c)?.spur.xyz + case.moved.cluster.get(c)?;
        Some(1e3 * (at - case.clusters.spur.get(t)?).norm())
    };
    ClusterScores {
        exact: Share::of(exact, "no true cluster has fruit seen in two images"),
        pure: Share::of(in_map.values().map(is_pure), "the map has no cluster"),
        agreement: compare_partitions(&things),
        spur_error_mm: Spread::of(
            most.iter().filter_map(spur).collect(),
            "no map cluster holds a true fruitlet",
        ),
    }
}

/// The true cluster that most of each map cluster is of.
fn homes(case: &Case<'_>) -> BTreeMap<usize, usize> {
    let truth_of = |k: usize| case.truth_of(k).map(|g| case.clusters.cluster_of(g));
    let home = |(c, members): (usize, Vec<usize>)| {
        let home = most_common(members.iter().filter_map(|&k| truth_of(k)))?;
        Some((c, home))
    };
    case.map_clusters().into_iter().filter_map(home).collect()
}

/// Stated membership of matched fruit, and whether it is of the true cluster that most of its map cluster is of.
pub(crate) fn in_home_cluster(case: &Case<'_>) -> Vec<(f64, bool)> {
    let homes = homes(case);
    let statement = |(k, f, _): (usize, &Fruitlet, &TrueFruitlet)| {
        let own = case.truth_of(k).map(|g| case.clusters.cluster_of(g));
        (
            f.cluster_probability,
            own.as_ref() == homes.get(&f.cluster_idx),
        )
    };
    case.pairs().map(statement).collect()
}

/// Whether each true cluster with considered fruit, by its number, is exact.
pub(crate) fn exactness(case: &Case<'_>) -> Vec<(usize, bool)> {
    let in_map = case.map_clusters();
    let judged = case.clusters.judged();
    judged
        .map(|(c, members)| (c, is_exact(case, &in_map, c, members)))
        .collect()
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

/// The most common value, the one met first where several are.
fn most_common(values: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts = BTreeMap::<usize, (usize, std::cmp::Reverse<usize>)>::new();
    for (place, value) in values.enumerate() {
        counts
            .entry(value)
            .or_insert((0, std::cmp::Reverse(place)))
            .0 += 1;
    }
    (counts.into_iter())
        .max_by_key(|(_, count_and_place)| *count_and_place)
        .map(|(value, _)| value)
}

/// Scores the kings.
pub(crate) fn kings(case: &Case<'_>) -> KingScores {
    KingScores {
        right: Share::of(
            kings_right(case).into_iter().map(|(_, right)| right),
            "no true cluster of two or more has a considered king",
        ),
    }
}

/// Whether the king of each true cluster that is judged, by its number, is found.
pub(crate) fn kings_right(case: &Case<'_>) -> Vec<(usize, bool)> {
    let is_king = |g: usize| case.truth().fruitlets.get(g).is_some_and(|t| t.king);
    let judged = case
        .clusters
        .judged()
        .filter(|(_, members)| members.len() > 1);
    let right = judged.filter_map(|(c, members)| {
        let king = members.iter().copied().find(|&g| is_king(g))?;
        let stated = |g: usize| Some(case.map.fruitlets.get(case.map_of(g)?)?.king_probability);
        let mut others = members
            .iter()
            .filter(|&&g| !is_king(g))
            .filter_map(|&g| stated(g));
        // a tie is no answer
        Some((c, stated(king).is_some_and(|p| others.all(|q| p > q))))
    });
    right.collect()
}

#[cfg(test)]
mod tests {
    use super::most_common;

    #[test]
    fn the_most_common_value_and_of_several_the_first() {
        assert_eq!(most_common([5, 2, 2, 5, 9].into_iter()), Some(5));
        assert_eq!(most_common([5, 2, 2].into_iter()), Some(2));
        assert_eq!(most_common(std::iter::empty()), None);
    }
}
