//! How alike two clusterings of the same things are.

use crate::figure::Figure;
use serde::Serialize;
use std::collections::BTreeMap;

/// Agreement of two clusterings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartitionScores {
    /// F1 over the pairs of things that share a cluster.
    pub pairwise_f1: Figure,
    /// Adjusted Rand index: 1 for the same clustering, 0 on average for a random one of the same sizes.
    pub adjusted_rand: Figure,
    /// Each predicted cluster holds things of one true cluster only.
    pub homogeneity: Figure,
    /// All things of a true cluster are in one predicted cluster.
    pub completeness: Figure,
    /// Harmonic mean of homogeneity and completeness.
    pub v_measure: Figure,
}

/// Unordered pairs among `n` things.
pub(crate) fn pairs(n: usize) -> usize {
    n * n.saturating_sub(1) / 2
}

/// Compares clusterings from the `(true, predicted)` cluster of each thing. O(n log n).
///
/// Sources: L. Hubert and P. Arabie, "Comparing partitions", Journal of Classification 2 (1985), eq. 5;
/// A. Rosenberg and J. Hirschberg, "V-measure: a conditional entropy-based external cluster evaluation measure",
/// EMNLP-CoNLL 2007, sec. 2 (beta = 1).
#[must_use]
pub fn compare_partitions(things: &[(usize, usize)]) -> PartitionScores {
    let n = things.len();
    let both = sizes(things.iter().copied());
    let truth = sizes(things.iter().map(|t| t.0));
    let predicted = sizes(things.iter().map(|t| t.1));
    let paired = |sizes: &mut dyn Iterator<Item = usize>| sizes.map(pairs).sum::<usize>() as f64;
    let in_both = paired(&mut both.values().copied());
    let in_truth = paired(&mut truth.values().copied());
    let in_predicted = paired(&mut predicted.values().copied());
    let expected = in_truth * in_predicted / (pairs(n) as f64).max(1.0);
    let mean = (in_truth + in_predicted) / 2.0;

    let own = |sizes: &mut dyn Iterator<Item = usize>| entropy(sizes, n);
    let h_truth = own(&mut truth.values().copied());
    let h_predicted = own(&mut predicted.values().copied());
    let h_both = own(&mut both.values().copied());
    // H(A | B) = H(A, B) - H(B)
    let certain = |h_given: f64, h: f64| {
        if h > 0.0 {
            (1.0 - h_given / h).clamp(0.0, 1.0)
        } else {
            1.0
        }
    };
    let homogeneity = certain(h_both - h_predicted, h_truth);
    let completeness = certain(h_both - h_truth, h_predicted);
    let sum = homogeneity + completeness;
    let v_measure = if sum > 0.0 {
        2.0 * homogeneity * completeness / sum
    } else {
        0.0
    };

    let empty = "there is nothing to compare";
    let some = |v: f64| Figure::new((n > 0).then_some(v), n, empty);
    let trivial = "every thing is alone in both clusterings, or all are together in both";
    PartitionScores {
        pairwise_f1: Figure::ratio(
            2.0 * in_both,
            in_truth + in_predicted,
            n,
            "no two things share a cluster",
        ),
        adjusted_rand: Figure::ratio(in_both - expected, mean - expected, n, trivial),
        homogeneity: some(homogeneity),
        completeness: some(completeness),
        v_measure: some(v_measure),
    }
}

fn sizes<K: Ord>(keys: impl Iterator<Item = K>) -> BTreeMap<K, usize> {
    let mut sizes = BTreeMap::new();
    for key in keys {
        *sizes.entry(key).or_default() += 1;
    }
    sizes
}

/// Entropy in nats of clusters of the given sizes among `n` things.
fn entropy(sizes: &mut dyn Iterator<Item = usize>, n: usize) -> f64 {
    let term = |size: usize| {
        let p = size as f64 / n as f64;
        -p * p.ln()
    };
    sizes.map(term).sum()
}
