//! Who stays: one way to thin for each cluster, chosen exactly, with a reason for every fruitlet.
//!
//! Consumes the crop map, the ways in which each cluster could be thinned, the policy and what is known of the
//! trees. Produces an action, a rule, a sentence and a confidence for every fruitlet, the load of every tree, and
//! the chosen ways. It never knows a tool or an arm: what they can do is already in the ways.
//!
//! # What counts
//! What is meant to stay: fruit kept, fruit that waits for another look and fruit left alone by a pin. It counts towards
//! the tree's target, towards the spacing and as fruit left. Fruit that ought to go and cannot be reached does not: it is
//! refused, not kept, and goes by hand or in a later pass. If it took up places, a tree full of clusters that the tool
//! cannot finish would lose the very fruit it should carry. What it does to the bounds until then is said apart.
//!
//! # What is chosen
//! For each tree, among all combinations of one way per cluster, in this order:
//! 1. the fewest pins broken;
//! 2. of these, the least excess over the bounds by what is meant to stay (fruit above `keep_at_most` of a cluster,
//!    fruit above the tree's target, gaps along a limb that are below the spacing); zero wherever they can be met;
//! 3. of these, the most fruit meant to stay, so that no cluster is emptied to avoid a refusal;
//! 4. of these, the least excess over `keep_at_most` by what will hang in the clusters, refused fruit included, so that
//!    who stays is chosen such that the others can be reached;
//! 5. of these, the greatest total worth of the fruit kept (`worth.rs`);
//! 6. of these, the smallest sum of ranks by id.
//!
//! *The last sure fruit of a cluster is never removed* guards against doubt: as long as anything of a cluster is meant to
//! stay, at least one fruitlet that is surely there is among it; neither fruit in doubt nor refused fruit replaces all
//! the sure ones. So a cluster with fruit in doubt always keeps a sure one, above `keep_at_most` if need be. Only where no
//! way does so, one that leaves a sure one hanging out of reach will do. A cluster without fruit in doubt may be emptied,
//! but only by the tree's target or the spacing (or by a pin, which is the grower's word).
//!
//! # Method
//! Along a limb, a chain over clusters sorted by position with the number of fruit as second dimension (weighted
//! interval selection with a count, `limb.rs`); limbs of a tree are joined by max-plus convolution over the number of
//! fruit (`combine.rs`). Scores are integers that compare lexicographically and add component by component, an
//! ordered group, so the result is exact and does not depend on the order of additions. Time O(clusters x fruit) along
//! a limb where few clusters lie within the spacing of one another, O(fruit squared) for the joining.

mod candidates;
mod combine;
mod compare;
mod confidence;
mod config;
mod facts;
mod ground;
mod limb;
mod plan;
mod rank;
mod record;
mod score;
mod sentence;
mod standing;
pub mod target;
mod tree;
mod unmet;
pub mod unseen;
mod worth;

pub use config::Config;

use corymb_model::decisions::Decisions;
use corymb_model::map::CropMap;
use corymb_model::orchard::OrchardModel;
use corymb_model::policy::Policy;
use corymb_model::ways::ClusterWays;

/// What the choice is made from.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// The map.
    pub map: &'a CropMap,
    /// The ways of each cluster, in any order; a cluster without an entry is left as it is.
    pub ways: &'a [ClusterWays],
    /// What is wanted.
    pub policy: &'a Policy,
    /// Trees with trunk and limbs, where known.
    pub orchard: Option<&'a OrchardModel>,
}

/// Chooses a way for every cluster and explains what that means for every fruitlet.
///
/// The result does not depend on the order of fruitlets, clusters or ways (positions apart).
#[must_use]
pub fn decide(input: &Input<'_>, config: &Config) -> Decisions {
    let ranks = rank::Ranks::of(input.map);
    let standing = standing::Standing::of(input, &ranks);
    let trees = tree::group(input, &ranks, &standing);
    let worth = worth::Worths::of(input, &trees, config);
    let candidates = candidates::of_all_clusters(input, &standing, &worth, &ranks);
    let plans: Vec<plan::TreePlan> = trees
        .iter()
        .map(|tree| plan::of_tree(input, tree, &candidates, config))
        .collect();
    let facts = facts::Facts::of(input, &standing, &worth, &candidates, &plans, config);
    record::decisions(&facts, &trees, &plans)
}
