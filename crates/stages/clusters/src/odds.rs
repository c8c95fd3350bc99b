//! How sure the division is: from what the next best divisions would cost.
//!
//! Costs are negative log probabilities, so the best division and all that differ from it by one move, one join or one
//! split about a cluster share the probability by their costs (divided by the tempering of the settings).

use crate::search::{Partition, union, without};
use crate::spur::Scales;

/// Probabilities of one cluster.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Odds {
    /// That the cluster is as stated.
    pub(crate) cluster: f64,
    /// For each member, that it belongs to it.
    pub(crate) members: Vec<f64>,
}

/// The odds of every cluster.
pub(crate) fn odds(scales: &Scales<'_>, near: &[Vec<usize>], partition: &Partition) -> Vec<Odds> {
    let mut of = vec![0; near.len()];
    for (k, members) in partition.iter().enumerate() {
        members.iter().for_each(|&i| of[i] = k);
    }
    (0..partition.len())
        .map(|k| of_cluster(scales, near, partition, &of, k))
        .collect()
}

fn of_cluster(
    scales: &Scales<'_>,
    near: &[Vec<usize>],
    partition: &Partition,
    of: &[usize],
    k: usize,
) -> Odds {
    let members = &partition[k];
    let cost = |m: &[usize]| {
        if m.is_empty() {
            0.0
        } else {
            scales.weigh(m).cost
        }
    };
    let weight = |extra: f64| (-extra.max(0.0) / scales.config.tempering).exp();
    let mut around: Vec<usize> = members
        .iter()
        .flat_map(|&i| &near[i])
        .map(|&j| of[j])
        .filter(|&c| c != k)
        .collect();
    around.sort_unstable();
    around.dedup();
    let fits = |i: usize, c: &[usize]| c.iter().all(|&j| scales.could_share(i, j));
    let own = cost(members);
    let mut others = 0.0;
    let mut leaves = vec![0.0; members.len()];
    for (at, &i) in members.iter().enumerate() {
        let rest = cost(&without(members, &[i]));
        if members.len() > 1 {
            leaves[at] += weight(rest + cost(&[i]) - own);
        }
        for c in around.iter().map(|&c| &partition[c]).filter(|c| fits(i, c)) {
            leaves[at] += weight(rest + cost(&union(c, &[i])) - own - cost(c));
        }
    }
    for c in around.iter().map(|&c| &partition[c]) {
        if members.iter().all(|&i| fits(i, c)) {
            others += weight(cost(&union(members, c)) - own - cost(c));
        }
        for &j in c.iter().filter(|&&j| fits(j, members)) {
            others += weight(cost(&union(members, &[j])) + cost(&without(c, &[j])) - own - cost(c));
        }
    }
    Odds {
        cluster: 1.0 / (1.0 + others + leaves.iter().sum::<f64>()),
        members: leaves.iter().map(|l| 1.0 / (1.0 + l)).collect(),
    }
}
