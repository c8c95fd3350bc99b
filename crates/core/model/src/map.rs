//! The crop map: fruitlets with axes, stems, spurs, clusters and trees.

use crate::frames::{Orchard, Point};
use crate::run::{BoxRef, Class};
use crate::scene::{Axis, Stem};
use nalgebra::Matrix4;

/// The output of clustering.
#[derive(Debug, Clone, Default)]
pub struct CropMap {
    /// Fruitlets (or flowers, or buds), by id.
    pub fruitlets: Vec<Fruitlet>,
    /// Clusters, by id.
    pub clusters: Vec<Cluster>,
}

/// A fruitlet of the map.
#[derive(Debug, Clone)]
pub struct Fruitlet {
    /// Stable name.
    pub id: String,
    /// The body it is.
    pub class: Class,
    /// Position in `OrchardModel::trees`; `None` where no orchard is known.
    pub tree_idx: Option<usize>,
    /// Probability of that tree.
    pub tree_probability: f64,
    /// Position in [`CropMap::clusters`].
    pub cluster_idx: usize,
    /// Probability that it belongs to that cluster.
    pub cluster_probability: f64,
    /// Centre.
    pub centre: Point<Orchard>,
    /// Diameter.
    pub diameter_m: f64,
    /// Covariance of centre and radius, metres squared.
    pub covariance_m2: Matrix4<f64>,
    /// Standard deviation per axis of the error shared with the neighbours.
    pub shared_deviation_m: f64,
    /// Which way it hangs.
    pub axis: Option<Axis>,
    /// Its stem as seen.
    pub stem: Option<Stem>,
    /// Where the stem meets the fruit.
    pub stem_top: Option<Point<Orchard>>,
    /// Where the stem meets the spur.
    pub spur: Option<Point<Orchard>>,
    /// Probability that it is the king of its cluster.
    pub king_probability: f64,
    /// Probability that it exists.
    pub existence: f64,
    /// Images that show its body.
    pub views: usize,
    /// Every box explained by it, with our class, ascending.
    pub detections: Vec<(BoxRef, Class)>,
}

/// A cluster: a spur and the fruit that hang on it.
#[derive(Debug, Clone)]
pub struct Cluster {
    /// Stable name.
    pub id: String,
    /// Position in `OrchardModel::trees`.
    pub tree_idx: Option<usize>,
    /// Position in `Tree::limbs` of that tree.
    pub limb_idx: Option<usize>,
    /// Distance of the spur along the limb from its base, metres.
    pub along_limb_m: Option<f64>,
    /// The spur.
    pub spur: Point<Orchard>,
    /// Standard deviation per axis of the spur, metres.
    pub spur_deviation_m: f64,
    /// Probability that this cluster is as stated.
    pub probability: f64,
    /// Positions in [`CropMap::fruitlets`], ascending.
    pub members: Vec<usize>,
}

impl Fruitlet {
    /// Existence at which a fruitlet gets decisions.
    pub const DECIDED_FROM: f64 = 0.5;

    /// Whether it gets a decision.
    #[must_use]
    pub fn is_decided(&self) -> bool {
        self.existence >= Self::DECIDED_FROM
    }
}
