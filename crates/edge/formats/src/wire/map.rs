//! `map.json`.

use crate::wire::header::output_file;
use crate::wire::num::Num;
use crate::wire::run::ClassWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

output_file! {
    /// The crop map.
    #[schemars(rename = "Map")]
    MapFile {
        /// Trees with their clusters; one entry with id null where no orchard is known.
        trees: Vec<MapTree>,
        /// Fruitlets, flowers or buds.
        fruitlets: Vec<MapFruitlet>,
    }
}

/// A tree and its clusters.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub(crate) struct MapTree {
    /// Id of the tree.
    pub(crate) id: Option<String>,
    /// Its clusters.
    pub(crate) clusters: Vec<MapCluster>,
}

/// A cluster.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub(crate) struct MapCluster {
    /// Unique id.
    pub(crate) id: String,
    /// Id of the limb.
    pub(crate) limb: Option<String>,
    /// The spur.
    pub(crate) spur_m: [Num; 3],
    /// Standard deviation of the spur per axis.
    pub(crate) spur_deviation_m: Option<Num>,
    /// Distance of the spur along the limb from its base.
    pub(crate) along_limb_m: Option<Num>,
    /// Probability that the cluster is as stated.
    pub(crate) probability: Num,
}

/// A fruitlet (or flower, or bud).
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub(crate) struct MapFruitlet {
    /// Unique id.
    pub(crate) id: String,
    /// The body it is.
    pub(crate) class: ClassWire,
    /// Id of the tree.
    pub(crate) tree: Option<String>,
    /// Probability of that tree.
    pub(crate) tree_probability: Num,
    /// Id of the cluster.
    pub(crate) cluster: String,
    /// Probability of that cluster.
    pub(crate) cluster_probability: Num,
    /// Centre.
    pub(crate) centre_m: [Num; 3],
    /// Diameter.
    pub(crate) diameter_mm: Num,
    /// Covariance of centre and radius, without the error that all neighbours share.
    pub(crate) covariance_m2: [[Num; 4]; 4],
    /// Standard deviation per axis of the error that all neighbours share.
    pub(crate) shared_deviation_m: Num,
    /// Unit vector from stem end to calyx end.
    pub(crate) axis: Option<[Num; 3]>,
    /// Angular standard deviation of the axis.
    pub(crate) axis_deviation_deg: Option<Num>,
    /// Where the stem meets the fruit.
    pub(crate) stem_top_m: Option<[Num; 3]>,
    /// Where the stem meets the spur.
    pub(crate) spur_m: Option<[Num; 3]>,
    /// The stem as far as it was seen.
    pub(crate) stem_seen: Option<MapStem>,
    /// Probability that it is the king of its cluster.
    pub(crate) king_probability: Num,
    /// Probability that it exists.
    pub(crate) existence: Num,
    /// Images that show it.
    pub(crate) views: usize,
    /// Frame id, index of the detection, our class: every box explained by it.
    pub(crate) detections: Vec<(String, u32, ClassWire)>,
}

/// A stem as a straight piece, as far as it was seen.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub(crate) struct MapStem {
    /// Its end at the fruit.
    pub(crate) top_m: [Num; 3],
    /// Its far end, at or on the way to the spur.
    pub(crate) far_m: [Num; 3],
    /// Covariance of the far end.
    pub(crate) far_covariance_m2: [[Num; 3]; 3],
    /// Images that support it.
    pub(crate) views: usize,
}
