//! `truth.json`.

use crate::wire::num::Num;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is truly there. No stage but scoring reads it.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Truth")]
pub(crate) struct TruthFile {
    /// 1.
    #[schemars(extend("const" = 1))]
    pub(crate) version: u32,
    /// All fruitlets.
    pub(crate) fruitlets: Vec<TrueFruitletWire>,
    /// Frame id -> for each detection the fruitlet it shows, or null for a false positive.
    pub(crate) detections: BTreeMap<String, Vec<Option<String>>>,
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
