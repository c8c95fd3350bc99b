//! How many fruit a tree should carry.

use crate::Config;
use corymb_model::decisions::Bound;
use corymb_model::orchard::{LimbKind, Tree};
use corymb_model::policy::{Losses, Target};
use std::f64::consts::PI;

/// Square centimetres in a square metre.
const CM2_PER_M2: f64 = 1e4;

/// What the bounds of a policy say for one tree.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TreeTarget {
    /// Trunk cross-sectional area, cm2, where the diameter is known.
    pub trunk_area_cm2: Option<f64>,
    /// The smallest bound that can be computed, and which one it is.
    pub target: Option<(u64, Bound)>,
    /// Why there is none.
    pub none_because: Option<String>,
}

/// Cross-sectional area, cm2, of a round trunk or limb of the given diameter (metres): pi d^2 / 4.
#[must_use]
pub fn section_cm2(diameter_m: f64) -> f64 {
    PI * diameter_m * diameter_m / 4.0 * CM2_PER_M2
}

/// Summed base areas, cm2, of the limbs of kind `limb`; `None` where the tree has none.
#[must_use]
pub fn limb_area_cm2(tree: &Tree) -> Option<f64> {
    let bases = tree.limbs.iter().filter(|l| l.kind == LimbKind::Limb);
    let areas: Vec<f64> = bases
        .filter_map(|l| l.radii_m.first())
        .map(|r| section_cm2(2.0 * r))
        .collect();
    (!areas.is_empty()).then(|| areas.iter().sum())
}

/// The smallest bound that can be computed for a tree, each product rounded down; `tree` is `None` where the tree of
/// the fruit is not known. Among equal bounds the first of trunk, tree, limbs is named.
#[must_use]
pub fn of_tree(tree: Option<&Tree>, target: &Target, config: &Config) -> TreeTarget {
    let Some(tree) = tree else {
        return TreeTarget {
            none_because: Some("the tree is not known".into()),
            ..TreeTarget::default()
        };
    };
    let trunk_area_cm2 = tree.trunk_diameter_m.map(section_cm2);
    let product =
        |density: Option<f64>, area: Option<f64>| Some(whole(density? * area?, config.whole_slack));
    let bounds = [
        (
            product(target.fruit_per_cm2_trunk, trunk_area_cm2),
            Bound::TrunkArea,
        ),
        (product(target.fruit_per_tree, Some(1.0)), Bound::PerTree),
        (
            product(target.fruit_per_cm2_limb, limb_area_cm2(tree)),
            Bound::LimbArea,
        ),
    ];
    let computable = bounds
        .into_iter()
        .filter_map(|(fruit, bound)| Some((fruit?, bound)));
    let smallest = computable.min_by_key(|(fruit, _)| *fruit);
    let none_because = smallest.is_none().then(|| why_none(target));
    TreeTarget {
        trunk_area_cm2,
        target: smallest,
        none_because,
    }
}

fn why_none(target: &Target) -> String {
    let missing = match (target.fruit_per_cm2_trunk, target.fruit_per_cm2_limb) {
        (None, None) => "the policy states no target for a tree",
        (Some(_), None) => "no trunk diameter is known",
        (None, Some(_)) => "no side limb is known",
        (Some(_), Some(_)) => "neither a trunk diameter nor a side limb is known",
    };
    missing.into()
}

/// `product` rounded down; one that misses the next whole number by no more than `slack` counts as it.
fn whole(product: f64, slack: f64) -> u64 {
    // a float cast saturates, and NaN becomes 0
    (product + slack).floor().max(0.0) as u64
}

/// How many fruit to leave by decision so that the load expected in the end meets `target`.
///
/// First form, an expectation: of `found` fruit `n` are left and the rest is cut, each cut works with probability s
/// (`tool_success`), `unseen` fruit hang there as well where the policy counts them, and of all that remains a share d
/// (`natural_drop`) falls by itself. So the load is `(1 - d) (n + (1 - s) (found - n) + unseen)`, which is set equal
/// to `target`, solved for `n` and rounded down, not below 0. A tool that never works (s = 0) cannot meet anything: then
/// `target` itself is returned, and so it is when all is expected to fall.
#[must_use]
pub fn to_leave(target: u64, found: usize, unseen: f64, losses: &Losses, config: &Config) -> u64 {
    let stays = 1.0 - losses.natural_drop.unwrap_or(0.0);
    let works = losses.tool_success.unwrap_or(1.0);
    if stays <= 0.0 || works <= 0.0 {
        return target;
    }
    // counts of fruit are far below 2^52
    let (target, found) = (target as f64, found as f64);
    let unseen = if losses.count_unseen { unseen } else { 0.0 };
    whole(
        (target / stays - unseen - (1.0 - works) * found) / works,
        config.whole_slack,
    )
}
