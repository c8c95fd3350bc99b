//! What stays, what goes, and why.

use crate::ways::Way;

/// The output of thinning.
#[derive(Debug, Clone, Default)]
pub struct Decisions {
    /// One for each fruitlet of the map with existence of at least one half, in the order of the map.
    pub decisions: Vec<Decision>,
    /// One a tree, in the order of the orchard file, then one for fruit without a tree where there is any.
    pub trees: Vec<TreeLoad>,
    /// The chosen way of each cluster that has something to remove: (position in `CropMap::clusters`, way).
    pub chosen: Vec<(usize, Way)>,
    /// Pins of the policy that name nothing on the map, in the order of the policy.
    pub pins_without_object: Vec<crate::policy::Pin>,
}

/// What happens to a fruitlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// Stays.
    Keep,
    /// Goes.
    Remove,
    /// Too unsure: look again first.
    LookAgain,
}

impl Action {
    /// The name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Action::Keep => "keep",
            Action::Remove => "remove",
            Action::LookAgain => "look_again",
        }
    }
}

/// Which rule decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// Fixed by a pin of the policy.
    Pin,
    /// Existence or membership is too unsure.
    Confidence,
    /// At most so many fruit a cluster.
    ClusterLimit,
    /// The tree's target.
    TreeTarget,
    /// Spacing along the limb.
    Spacing,
    /// The last sure fruit of a cluster stays.
    LastSureFruit,
    /// Nothing bound: it stays.
    NoBound,
    /// It is the better of its cluster.
    Preferred,
}

impl Rule {
    /// The name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Rule::Pin => "pin",
            Rule::Confidence => "confidence",
            Rule::ClusterLimit => "cluster_limit",
            Rule::TreeTarget => "tree_target",
            Rule::Spacing => "spacing",
            Rule::LastSureFruit => "last_sure_fruit",
            Rule::NoBound => "no_bound",
            Rule::Preferred => "preferred",
        }
    }
}

/// A decision with its explanation.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// Position in `CropMap::fruitlets`.
    pub fruitlet_idx: usize,
    /// What happens.
    pub action: Action,
    /// Which rule decided.
    pub rule: Rule,
    /// One sentence that a grower can read.
    pub reason: String,
    /// Probability that the action would be right if the map were exact.
    pub confidence: f64,
}

/// Which bound held for a tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// Fruit per trunk area.
    TrunkArea,
    /// Fruit per tree.
    PerTree,
    /// Fruit per limb area.
    LimbArea,
}

impl Bound {
    /// The name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Bound::TrunkArea => "fruit_per_cm2_trunk",
            Bound::PerTree => "fruit_per_tree",
            Bound::LimbArea => "fruit_per_cm2_limb",
        }
    }
}

/// The load of a tree before and after.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TreeLoad {
    /// Position in `OrchardModel::trees`; `None` for fruit without a tree.
    pub tree_idx: Option<usize>,
    /// Trunk cross-sectional area, cm2.
    pub trunk_area_cm2: Option<f64>,
    /// Fruit that the tree should carry; `None` where no bound can be computed.
    pub target: Option<u64>,
    /// Fruit to leave by decision so that the expected load meets `target` after the stated losses; equal to `target`
    /// where none are stated.
    pub to_leave: Option<u64>,
    /// The bound that gave `target`.
    pub bound: Option<Bound>,
    /// Whether `to_leave` was less than what clusters and spacing would have meant to stay.
    pub binds: bool,
    /// Why there is no target.
    pub no_target_because: Option<String>,
    /// What could not be met by what is meant to stay, by how much and why: one sentence a bound; and one for fruit that
    /// ought to go and cannot be reached. Empty where there is neither.
    pub unmet: Vec<String>,
    /// Fruitlets found.
    pub found: usize,
    /// Estimate of those never seen.
    pub unseen: f64,
    /// Kept.
    pub kept: usize,
    /// To be removed.
    pub removed: usize,
    /// To be looked at again.
    pub look_again: usize,
}
