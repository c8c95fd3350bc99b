//! Lines of `orders.jsonl` and `refusals.jsonl`.

use crate::wire::arm::ToolActionWire;
use crate::wire::num::Num;
use crate::wire::pose::PoseWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One task.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[schemars(rename = "Order")]
pub(crate) enum OrderLine {
    /// Remove fruit.
    Remove(Box<RemoveWire>),
    /// Look again.
    Look(Box<LookWire>),
}

/// A removal.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Remove", inline)]
pub(crate) struct RemoveWire {
    /// Stable id.
    pub(crate) order: String,
    /// Increases through the file.
    pub(crate) seq: u64,
    /// Stop of the platform.
    pub(crate) stop: Option<i64>,
    /// The rig at that stop.
    pub(crate) orchard_from_rig: Option<PoseWire>,
    /// Id of the arm.
    pub(crate) arm: Option<String>,
    /// Name of the tool.
    pub(crate) tool: String,
    /// What the tool does.
    pub(crate) action: ToolActionWire,
    /// Id of the tree.
    pub(crate) tree: Option<String>,
    /// Id of the cluster.
    pub(crate) cluster: String,
    /// Fruit to be cut.
    pub(crate) targets: Vec<String>,
    /// Fruit of the cluster to be kept.
    pub(crate) keepers: Vec<String>,
    /// The fruit that is enclosed.
    pub(crate) enclosed: Option<String>,
    /// Its centre.
    pub(crate) target_centre_m: [Num; 3],
    /// Its diameter.
    pub(crate) target_diameter_mm: Num,
    /// Tool poses in order.
    pub(crate) poses: Vec<ToolPoseWire>,
    /// Angle between the tool's -z and the fruit's axis.
    pub(crate) tilt_deg: Num,
    /// Smallest predicted distance to what must not be touched.
    pub(crate) clearance_mm: Num,
    /// Share of the sweep that no camera saw into.
    pub(crate) unseen_share: Option<Num>,
    /// Probability of success after the place has been found again at the stop.
    pub(crate) success_probability: Num,
    /// Probability of success without.
    pub(crate) success_probability_unlocated: Num,
    /// Orders that must be done before.
    pub(crate) needs: Vec<String>,
    /// Time for it, with the travel to it.
    pub(crate) duration_s: Num,
    /// Time from standoff to retreat.
    pub(crate) work_s: Option<Num>,
    /// First and last stop from which the arm reaches every pose.
    pub(crate) stops: Option<(i64, i64)>,
    /// Whether reach was checked.
    pub(crate) reach_checked: bool,
    /// What was not checked, in plain words.
    pub(crate) not_checked: Vec<String>,
}

/// A look.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Look", inline)]
pub(crate) struct LookWire {
    /// Stable id.
    pub(crate) order: String,
    /// Increases through the file.
    pub(crate) seq: u64,
    /// Stop of the platform.
    pub(crate) stop: Option<i64>,
    /// The rig at that stop.
    pub(crate) orchard_from_rig: Option<PoseWire>,
    /// Null: no arm is needed.
    pub(crate) arm: Option<String>,
    /// Id of the cluster.
    pub(crate) cluster: String,
    /// The fruitlet in doubt.
    pub(crate) fruitlet: Option<String>,
    /// Its centre.
    pub(crate) target_centre_m: [Num; 3],
    /// Id of the camera.
    pub(crate) camera: String,
    /// From where to look.
    pub(crate) orchard_from_camera: PoseWire,
    /// Always empty.
    pub(crate) poses: Vec<ToolPoseWire>,
    /// Orders that must be done before.
    pub(crate) needs: Vec<String>,
    /// Time for it, with the travel to it.
    pub(crate) duration_s: Num,
}

/// A pose of the tool.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "ToolPose")]
pub(crate) struct ToolPoseWire {
    /// Which of the poses of a removal.
    pub(crate) name: PoseNameWire,
    /// The pose.
    pub(crate) orchard_from_tool: PoseWire,
    /// Joint positions where the arm is a chain.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) joints: Option<Vec<Num>>,
}

/// Names of the poses of a removal, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "PoseName")]
pub(crate) enum PoseNameWire {
    Standoff,
    Enclose,
    Cut,
    Retreat,
}

/// A fruitlet that ought to be removed and has no order.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Refusal")]
pub(crate) struct RefusalLine {
    /// Id of the fruitlet.
    pub(crate) fruitlet: String,
    /// The first condition that no pose could meet.
    pub(crate) reason: ReasonWire,
    /// Ids of what is in the way.
    pub(crate) blocked_by: Vec<String>,
    /// By how much it fails, where that is a length.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) shortfall_mm: Option<Num>,
    /// By how much it fails, where that is an angle.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) shortfall_deg: Option<Num>,
}

/// Why no pose does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "RefusalReason")]
pub(crate) enum ReasonWire {
    NoAxis,
    #[serde(rename = "fruit_too_large")]
    TooLarge,
    StemTooShort,
    BlockedByFruit,
    CutsOtherStem,
    BlockedByLimb,
    BlockedByObstacle,
    OutOfReach,
    ReachDirection,
    LastSureFruit,
    NoKeeper,
    BladeMissesStem,
    #[serde(rename = "success_too_unlikely")]
    TooUnlikely,
    ClusterTooLarge,
}
