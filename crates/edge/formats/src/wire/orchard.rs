//! `orchard.json`.

use crate::wire::num::Num;
use crate::wire::pose::PoseWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Rows, trees and obstacles.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Orchard")]
pub(crate) struct OrchardFile {
    /// 1.
    #[schemars(extend("const" = 1))]
    pub(crate) version: u32,
    /// Rows.
    pub(crate) rows: Vec<RowWire>,
    /// Trees.
    pub(crate) trees: Vec<TreeWire>,
    /// Wires, posts and the like.
    #[serde(default)]
    pub(crate) obstacles: Vec<ObstacleWire>,
}

/// A row.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Row")]
pub(crate) struct RowWire {
    /// Unique id.
    pub(crate) id: String,
    /// One end.
    pub(crate) from_m: [Num; 3],
    /// The other end.
    pub(crate) to_m: [Num; 3],
}

/// A tree.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Tree")]
pub(crate) struct TreeWire {
    /// Unique id.
    pub(crate) id: String,
    /// Id of its row.
    pub(crate) row: String,
    /// Where the trunk meets the ground.
    pub(crate) base_m: [Num; 3],
    /// Trunk diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) trunk_diameter_mm: Option<Num>,
    /// Leader and limbs.
    pub(crate) limbs: Vec<LimbWire>,
}

/// A limb.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Limb")]
pub(crate) struct LimbWire {
    /// Id, unique in the orchard.
    pub(crate) id: String,
    /// Leader or limb.
    pub(crate) kind: LimbKindWire,
    /// From base to tip.
    pub(crate) points_m: Vec<[Num; 3]>,
    /// One a point.
    pub(crate) radii_mm: Vec<Num>,
}

/// Leader or limb.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "LimbKind")]
pub(crate) enum LimbKindWire {
    Leader,
    Limb,
}

/// Something solid that is not a tree.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[schemars(rename = "Obstacle")]
pub(crate) enum ObstacleWire {
    /// A cylinder with round ends.
    Capsule {
        /// Unique id.
        id: String,
        /// One end of the axis.
        a_m: [Num; 3],
        /// The other end of the axis.
        b_m: [Num; 3],
        /// Radius.
        radius_mm: Num,
    },
    /// A solid box about the origin of its frame.
    Box {
        /// Unique id.
        id: String,
        /// Where it stands.
        orchard_from_box: PoseWire,
        /// Edge lengths along x, y, z.
        size_m: [Num; 3],
    },
}
