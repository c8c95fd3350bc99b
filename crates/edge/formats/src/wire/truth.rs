//! `truth.json`.

use crate::wire::num::Num;
use crate::wire::run::ClassWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is truly there, as far as it is known. No stage but scoring reads it.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Truth")]
pub(crate) struct TruthFile {
    /// 1.
    #[schemars(extend("const" = 1))]
    pub(crate) version: u32,
    /// The fruitlets whose place is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) fruitlets: Option<Vec<TrueFruitletWire>>,
    /// Frame id -> for each detection the fruitlet or object it shows, or null for a false positive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) detections: Option<BTreeMap<String, Vec<Option<String>>>>,
    /// Objects that only have a name. Where neither these nor fruitlets are listed, every name that a label uses is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) objects: Option<Vec<NamedObjectWire>>,
    /// Frame id -> what a perfect detector would box there; an image without an entry is not labelled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) boxes: Option<BTreeMap<String, Vec<TrueBoxWire>>>,
    /// Frame id -> x0, y0, x1, y1 of parts of the image that were not labelled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) left_out: Option<BTreeMap<String, Vec<[Num; 4]>>>,
    /// Fruit counted by hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) counts: Option<Vec<HandCountWire>>,
}

/// An object known by name alone.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "NamedObject")]
pub(crate) struct NamedObjectWire {
    /// Unique id, also among the fruitlets.
    pub(crate) id: String,
    /// Id of its tree.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) tree: Option<String>,
    /// Id of its cluster.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) cluster: Option<String>,
}

/// A box as a perfect detector would draw it.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "TrueBox")]
pub(crate) struct TrueBoxWire {
    /// Our class.
    pub(crate) class: ClassWire,
    /// The fruitlet or object it shows, or that the stem or calyx end belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) object: Option<String>,
    /// x0, y0, x1, y1 of the visible part; the origin is the outer top-left corner of the top-left pixel.
    pub(crate) box_px: [Num; 4],
    /// Share of the object's area in the image that is not hidden, 0 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) visible_share: Option<Num>,
}

/// A count by hand: of a tree, a row or the block.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "HandCount")]
pub(crate) struct HandCountWire {
    /// Id of the tree that was counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) tree: Option<String>,
    /// Id of the row that was counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) row: Option<String>,
    /// True where everything was counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) block: Option<bool>,
    /// Fruit there.
    pub(crate) fruitlets: usize,
}

/// A true fruitlet.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "TrueFruitlet")]
pub(crate) struct TrueFruitletWire {
    /// Unique id.
    pub(crate) id: String,
    /// Id of its tree.
    pub(crate) tree: String,
    /// Id of its limb.
    pub(crate) limb: Option<String>,
    /// Id of its cluster.
    pub(crate) cluster: String,
    /// Centre.
    pub(crate) centre_m: [Num; 3],
    /// Diameter across the axis.
    pub(crate) diameter_mm: Num,
    /// Unit vector from stem end to calyx end.
    pub(crate) axis: [Num; 3],
    /// Where the stem meets the fruit.
    pub(crate) stem_top_m: [Num; 3],
    /// Where the stem meets the spur.
    pub(crate) spur_m: [Num; 3],
    /// Whether it is the king of its cluster.
    pub(crate) king: bool,
}
