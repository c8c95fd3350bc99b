//! What grows on the limbs, what hides it, what moves it.

use corymb_model::run::Class;
use serde::{Deserialize, Serialize};

/// What the bodies of a scene are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BodyKind {
    /// Green fruit with stems and calyx ends.
    Fruitlets,
    /// Flowers on stems; the king of a cluster is a `king_flower`.
    Flowers,
    /// One body a cluster.
    FlowerClusters,
    /// One bud a spur, without a stem.
    Buds,
}

impl BodyKind {
    /// The class of a body of this kind.
    #[must_use]
    pub fn class(self, king: bool) -> Class {
        match self {
            BodyKind::Fruitlets => Class::Fruitlet,
            BodyKind::Flowers if king => Class::KingFlower,
            BodyKind::Flowers => Class::Flower,
            BodyKind::FlowerClusters => Class::FlowerCluster,
            BodyKind::Buds => Class::Bud,
        }
    }

    /// Whether bodies hang on stems that a detector can see.
    #[must_use]
    pub fn has_stem(self) -> bool {
        matches!(self, BodyKind::Fruitlets | BodyKind::Flowers)
    }

    /// Whether bodies have a calyx end that a detector can see.
    #[must_use]
    pub fn has_calyx(self) -> bool {
        self == BodyKind::Fruitlets
    }
}

/// Clusters and the bodies in them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CropSpec {
    /// What the bodies are.
    pub kind: BodyKind,
    /// Relative frequency of clusters with 1, 2 .. 6 bodies.
    pub cluster_size_weights: [f64; 6],
    /// Chance that the king of a cluster is among its bodies.
    pub king_share: f64,
    /// Least distance along a limb between spurs, millimetres.
    pub spur_gap_mm: f64,
    /// Mean of the further distance (exponential), millimetres.
    pub spur_gap_more_mm: f64,
    /// Whether spurs sit on the leader too.
    pub on_leader: bool,
    /// Spurs sit at this height and above, metres.
    pub lowest_spur_m: f64,
    /// Least and largest length of a spur, from the limb's surface to where the stems begin, millimetres.
    pub spur_length_mm: [f64; 2],
    /// Mean stem length of bodies that are not kings, millimetres.
    pub stem_mean_mm: f64,
    /// Standard deviation of it, millimetres.
    pub stem_deviation_mm: f64,
    /// Stems lie between these, millimetres.
    pub stem_bounds_mm: [f64; 2],
    /// Mean stem length of a king over that of the others (0.76: 17.7 mm over 23.3 mm).
    pub king_stem_ratio: f64,
    /// Sideways bow of a stem over its length, standard deviation (share).
    pub stem_bow: f64,
    /// Stem diameter, millimetres.
    pub stem_diameter_mm: f64,
    /// Mean diameter of bodies that are not kings, millimetres; absent = by the scene's stage ([`super::SizeSpec`]).
    pub diameter_mean_mm: Option<f64>,
    /// Standard deviation of it, millimetres; absent = by the stage.
    pub diameter_deviation_mm: Option<f64>,
    /// Diameters lie between these, millimetres; absent = by the stage.
    pub diameter_bounds_mm: Option<[f64; 2]>,
    /// Share of the variance of diameters that lies between clusters, the rest is within them. In 'Royal Gala' quality
    /// varied far more between clusters than within (source in `fixtures/scenes/README.md`); 0.6 itself is a guess.
    pub diameter_between_clusters: f64,
    /// Mean diameter of a king over that of the others of its cluster; above 1 the king is mostly, not always, the largest.
    pub king_diameter_ratio: f64,
    /// Standard deviation of that ratio.
    pub king_diameter_deviation: f64,
    /// Least and largest length over diameter of a body.
    pub length_ratio: [f64; 2],
    /// How far bodies hang down: 0 = stems leave the spur as they like, 1 = straight down.
    pub hang: f64,
    /// Standard deviation of the angle between the end of the stem and the body's axis, degrees.
    pub axis_wry_deg: f64,
    /// Least gap between any two bodies, millimetres; negative lets them interleave as petals do.
    pub least_gap_mm: f64,
}

impl Default for CropSpec {
    fn default() -> Self {
        Self {
            kind: BodyKind::Fruitlets,
            cluster_size_weights: [0.10, 0.23, 0.26, 0.21, 0.13, 0.07],
            king_share: 0.9,
            spur_gap_mm: 45.0,
            spur_gap_more_mm: 35.0,
            on_leader: true,
            lowest_spur_m: 0.45,
            spur_length_mm: [6.0, 20.0],
            stem_mean_mm: 25.0,
            stem_deviation_mm: 4.0,
            stem_bounds_mm: [15.0, 35.0],
            king_stem_ratio: 0.76,
            stem_bow: 0.08,
            stem_diameter_mm: 2.0,
            diameter_mean_mm: None,
            diameter_deviation_mm: None,
            diameter_bounds_mm: None,
            diameter_between_clusters: 0.6,
            king_diameter_ratio: 1.15,
            king_diameter_deviation: 0.08,
            length_ratio: [1.0, 1.1],
            hang: 0.35,
            axis_wry_deg: 10.0,
            least_gap_mm: 0.3,
        }
    }
}

/// Leaves near the clusters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct LeafSpec {
    /// Mean leaves a cluster.
    pub per_cluster: f64,
    /// Least and largest length, millimetres.
    pub length_mm: [f64; 2],
    /// Width over length.
    pub width_ratio: f64,
    /// Least and largest distance of a leaf's centre from the spur, millimetres.
    pub distance_mm: [f64; 2],
}

impl Default for LeafSpec {
    fn default() -> Self {
        Self {
            per_cluster: 2.0,
            length_mm: [35.0, 70.0],
            width_ratio: 0.55,
            distance_mm: [25.0, 60.0],
        }
    }
}

/// Slow motion of whole clusters about their spurs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct WindSpec {
    /// Standard deviation of a body's displacement per horizontal axis, millimetres; the truth is the place at rest.
    pub sway_mm: f64,
    /// Mean period of the motion, seconds.
    pub period_s: f64,
}

impl Default for WindSpec {
    fn default() -> Self {
        Self {
            sway_mm: 0.0,
            period_s: 3.0,
        }
    }
}
