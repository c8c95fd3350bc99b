//! `decisions.json`.

use crate::wire::header::output_file;
use crate::wire::num::Num;
use crate::wire::policy::PinWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

output_file! {
    /// What stays, what goes, and why.
    #[schemars(rename = "Decisions")]
    DecisionsFile {
        /// One for each fruitlet of existence 0.5 or more.
        decisions: Vec<DecisionWire>,
        /// One a tree.
        trees: Vec<TreeLoadWire>,
        /// Pins of the policy that name nothing on the map.
        #[serde(default)]
        pins_without_object: Vec<PinWire>,
    }
}

/// A decision with its explanation.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Decision")]
pub(crate) struct DecisionWire {
    /// Id of the fruitlet.
    pub(crate) fruitlet: String,
    /// Id of its tree.
    pub(crate) tree: Option<String>,
    /// Id of its cluster.
    pub(crate) cluster: String,
    /// What happens.
    pub(crate) action: ActionWire,
    /// Which rule decided.
    pub(crate) rule: RuleWire,
    /// One sentence that a grower can read.
    pub(crate) reason: String,
    /// Probability that the action would be right if the map were exact.
    pub(crate) confidence: Num,
}

/// What happens to a fruitlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "Action")]
pub(crate) enum ActionWire {
    Keep,
    Remove,
    LookAgain,
}

/// Which rule decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "Rule")]
pub(crate) enum RuleWire {
    Pin,
    Confidence,
    ClusterLimit,
    TreeTarget,
    Spacing,
    LastSureFruit,
    NoBound,
    Preferred,
}

/// The load of a tree.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "TreeLoad")]
pub(crate) struct TreeLoadWire {
    /// Id of the tree; null for fruit without one.
    pub(crate) id: Option<String>,
    /// Cross-sectional area of the trunk.
    pub(crate) trunk_area_cm2: Option<Num>,
    /// Fruit that the tree should carry.
    pub(crate) target: Option<u64>,
    /// The bound that gave the target.
    pub(crate) bound: Option<BoundWire>,
    /// Fruit to leave so that the target is met after the stated losses.
    pub(crate) to_leave: Option<u64>,
    /// Whether that was less than clusters and spacing would have left.
    #[serde(default)]
    pub(crate) binds: bool,
    /// Why there is no target.
    pub(crate) no_target_because: Option<String>,
    /// Fruitlets found.
    pub(crate) found: usize,
    /// Estimate of those never seen.
    pub(crate) unseen: Num,
    /// Kept.
    pub(crate) kept: usize,
    /// To be removed.
    pub(crate) removed: usize,
    /// To be looked at again.
    pub(crate) look_again: usize,
    /// What could not be met, one sentence a bound.
    #[serde(default)]
    pub(crate) unmet: Vec<String>,
}

/// Which bound held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Bound")]
pub(crate) enum BoundWire {
    #[serde(rename = "fruit_per_cm2_trunk")]
    TrunkArea,
    #[serde(rename = "fruit_per_tree")]
    PerTree,
    #[serde(rename = "fruit_per_cm2_limb")]
    LimbArea,
}
