//! How sure an action is.
//!
//! First form. With p = existence x probability of membership: an action on a fruitlet is right with p, times the
//! probability that the comparison which it rests on comes out the same when the worths are known exactly; a second
//! look is right with 1 - p, the chance that acting at once would have been wrong; a pin is right by definition.
//!
//! In a comparison the difference of two worths is taken as normal. Its variance is that of the diameters (four times
//! the radius variance of the map) plus that of the king term: of two fruitlets of a cluster at most one is the king, so
//! with probabilities a and b the variance of the difference is `a(1 - a) + b(1 - b) + 2ab`; of different clusters the
//! last term is absent. Reach is a number of the plan, not a quantity that a better map would change.

use crate::compare::{Because, Comparison};
use crate::facts::Facts;
use crate::ground::Ground;
use statrs::function::erf::erfc;
use std::f64::consts::SQRT_2;

/// Probability that the action of `fruitlet` is right.
pub(crate) fn of(facts: &Facts<'_>, fruitlet: usize, ground: &Ground) -> f64 {
    let Some(f) = facts.input.map.fruitlets.get(fruitlet) else {
        return 0.0;
    };
    let there = f.existence * f.cluster_probability;
    let confidence = match ground {
        Ground::PinnedToStay
        | Ground::PinnedToGo
        | Ground::PinnedToGoInVain
        | Ground::LeftAlone => 1.0,
        Ground::InDoubt => 1.0 - there,
        Ground::Won(c) | Ground::OverLimit(Some(c)) | Ground::NoBetterWay(Some(c)) => {
            there * comparison_holds(facts, c)
        }
        Ground::OverTarget {
            least_kept: Some(other),
            ..
        } => there * outranked(facts, fruitlet, *other),
        _ => there,
    };
    if confidence.is_finite() {
        confidence.clamp(0.0, 1.0)
    } else {
        0.0
    }
}

fn comparison_holds(facts: &Facts<'_>, c: &Comparison) -> f64 {
    match c.because {
        Because::NoOtherWay | Because::OutOfReach(_) => 1.0,
        _ => positive(
            c.winner_worth - c.loser_worth,
            variance(facts, c.winner, c.loser),
        ),
    }
}

/// Against the least fruit kept on the tree; where that is worth less, room along the limb decided, and the
/// comparison says nothing against the action.
fn outranked(facts: &Facts<'_>, fruitlet: usize, least_kept: usize) -> f64 {
    let difference =
        facts.worth_as_chosen(least_kept) - facts.worth.base(fruitlet) - facts.worth.prefer.reach;
    positive(difference.max(0.0), variance(facts, fruitlet, least_kept))
}

/// Variance of the difference of the worths of two fruitlets.
fn variance(facts: &Facts<'_>, a: usize, b: usize) -> f64 {
    let fruit = |i: usize| &facts.input.map.fruitlets[i];
    let prefer = facts.worth.prefer;
    let size = |i: usize| {
        let mean_m = facts.worth.mean_diameter_m[i];
        let weight = if mean_m > 0.0 {
            prefer.diameter / mean_m
        } else {
            0.0
        };
        weight * weight * 4.0 * fruit(i).covariance_m2[(3, 3)].max(0.0)
    };
    let (p, q) = (fruit(a).king_probability, fruit(b).king_probability);
    let shared = if fruit(a).cluster_idx == fruit(b).cluster_idx {
        2.0 * p * q
    } else {
        0.0
    };
    let king = prefer.king * prefer.king * (p * (1.0 - p) + q * (1.0 - q) + shared);
    size(a) + size(b) + king
}

/// Probability that a normal quantity is positive.
fn positive(mean: f64, variance: f64) -> f64 {
    if variance > 0.0 {
        0.5 * erfc(-mean / (variance.sqrt() * SQRT_2))
    } else if mean > 0.0 {
        1.0
    } else {
        0.5
    }
}
