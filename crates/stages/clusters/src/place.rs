//! Which limb, and through it which tree, a spur belongs to.
//!
//! Every limb nearby is weighed by how densely it bears spurs at that distance from its surface and by whether the
//! cluster's stems point away from it. A tree is as likely as its limbs together.

use crate::spur::Scales;
use crate::wood::{Foot, Wood};
use nalgebra::Vector3;

/// A spur further from every limb than this is given to the nearest one's tree, but to no limb, metres.
const FARTHEST_LIMB_M: f64 = 0.15;

/// Where a spur sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Place {
    /// Position in `OrchardModel::trees`.
    pub(crate) tree_idx: usize,
    /// Position in `Tree::limbs`.
    pub(crate) limb_idx: Option<usize>,
    /// Along that limb from its base.
    pub(crate) along_m: Option<f64>,
    /// Probability of the tree.
    pub(crate) tree_probability: f64,
}

/// The likeliest place of the spur at `at` of the fruit `members`; `None` without an orchard.
pub(crate) fn place(
    scales: &Scales<'_>,
    wood: &Wood,
    members: &[usize],
    at: &Vector3<f64>,
) -> Option<Place> {
    let near = wood.near(at, FARTHEST_LIMB_M);
    let feet = crate::habit::feet(at, &near);
    if feet.is_empty() {
        let foot = wood.nearest(at)?.foot(at);
        let name = wood.limbs.get(foot.limb)?;
        return Some(Place {
            tree_idx: name.tree_idx,
            limb_idx: None,
            along_m: None,
            tree_probability: 0.5,
        });
    }
    let logs: Vec<f64> = feet.iter().map(|f| weigh(scales, members, at, f)).collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let shares: Vec<f64> = logs
        .iter()
        .map(|l| ((l - most) / scales.config.tempering).exp())
        .collect();
    let total: f64 = shares.iter().sum();
    // of equals the first
    let best = (0..feet.len())
        .rev()
        .max_by(|&a, &b| shares[a].total_cmp(&shares[b]))?;
    let name = wood.limbs.get(feet[best].limb)?;
    let same_tree = |f: &Foot| {
        wood.limbs
            .get(f.limb)
            .is_some_and(|l| l.tree_idx == name.tree_idx)
    };
    let of_tree: f64 = feet
        .iter()
        .zip(&shares)
        .filter(|(f, _)| same_tree(f))
        .map(|(_, s)| s)
        .sum();
    Some(Place {
        tree_idx: name.tree_idx,
        limb_idx: Some(name.limb_idx),
        along_m: Some(feet[best].along_m),
        tree_probability: of_tree / total,
    })
}

/// Log-likelihood of a limb, up to what all limbs share.
fn weigh(scales: &Scales<'_>, members: &[usize], at: &Vector3<f64>, foot: &Foot) -> f64 {
    let outwards = members.iter().map(|&i| {
        let along = (scales.fruit[i].top(at) - at)
            .try_normalize(1e-6)
            .unwrap_or_default();
        along.dot(&foot.outwards)
    });
    scales.habit.limb_density(foot) + scales.habit.outward * outwards.sum::<f64>()
}
