//! `policy.toml`.

use crate::wire::num::Num;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the grower and adviser want.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Policy")]
pub(crate) struct PolicyFile {
    /// 1.
    #[schemars(extend("const" = 1))]
    pub(crate) version: u32,
    /// Name of the policy.
    pub(crate) name: String,
    /// Bounds on the fruit of a tree; the smallest that can be computed holds.
    pub(crate) target: TargetWire,
    /// What is left in a cluster.
    pub(crate) cluster: ClusterWire,
    /// Distance between clusters that keep fruit; absent = no limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) spacing: Option<SpacingWire>,
    /// Weights of a kept fruit's worth.
    pub(crate) prefer: PreferWire,
    /// When to look again.
    pub(crate) confidence: ConfidenceWire,
    /// Losses to reckon with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) losses: Option<LossesWire>,
    /// What is fixed beforehand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) pin: Vec<PinWire>,
}

/// Bounds on the fruit of a tree, at least one.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Target")]
pub(crate) struct TargetWire {
    /// Times the trunk's cross-sectional area.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) fruit_per_cm2_trunk: Option<Num>,
    /// As it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) fruit_per_tree: Option<Num>,
    /// Times the summed base areas of the side limbs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) fruit_per_cm2_limb: Option<Num>,
}

/// What is left in a cluster.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Cluster")]
pub(crate) struct ClusterWire {
    /// Fruit to leave, usually 1 or 2.
    pub(crate) keep_at_most: u32,
}

/// Distance between clusters that keep fruit.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Spacing")]
pub(crate) struct SpacingWire {
    /// Least distance of their spurs along the limb.
    pub(crate) along_limb_m: Num,
}

/// Weights of a kept fruit's worth.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Prefer")]
pub(crate) struct PreferWire {
    /// Times the king probability; may be negative.
    pub(crate) king: Num,
    /// Times the diameter over the tree's mean.
    pub(crate) diameter: Num,
    /// Times the probability that the plan which leaves it succeeds.
    pub(crate) reach: Num,
}

/// When to look again.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Confidence")]
pub(crate) struct ConfidenceWire {
    /// A fruitlet whose existence or membership is less sure is looked at again.
    pub(crate) act_above: Num,
}

/// Losses to reckon with.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Losses")]
pub(crate) struct LossesWire {
    /// Share expected to fall by itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) natural_drop: Option<Num>,
    /// Share of cuts that work.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) tool_success: Option<Num>,
    /// Whether fruit estimated but never seen counts towards the load.
    #[serde(default)]
    pub(crate) count_unseen: bool,
}

/// A decision fixed beforehand: exactly one of fruitlet, cluster, limb and tree.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Pin")]
pub(crate) struct PinWire {
    /// Id of a fruitlet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) fruitlet: Option<String>,
    /// Id of a cluster.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) cluster: Option<String>,
    /// Id of a limb.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) limb: Option<String>,
    /// Id of a tree.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) tree: Option<String>,
    /// How it is fixed.
    #[serde(rename = "as")]
    pub(crate) as_: PinAsWire,
}

/// How a pin holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "PinAs")]
pub(crate) enum PinAsWire {
    Keep,
    Remove,
    LeaveAlone,
}
