//! The score of a run: every stage against truth.

use crate::association::AssociationScores;
use crate::bootstrap::Intervals;
use crate::calibration::CalibrationScores;
use crate::carried_out::OrderScores;
use crate::clusters::{ClusterScores, KingScores};
use crate::counts::CountScores;
use crate::detector::DetectorScores;
use crate::figure::{Figure, Spread};
use crate::fruit::FruitScores;
use crate::identity::IdentityScores;
use crate::orientation::OrientationScores;
use crate::parts::PartScores;
use crate::rows::Rows;
use crate::thinned::DecisionScores;
use crate::tracks::TrackingScores;
use crate::trees::TreeScores;
use serde::Serialize;

/// All figures of a run. Serialised, the fields stand in the order given here.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Scores {
    /// What there was to find.
    pub truth: TruthScores,
    /// The detector's boxes against true boxes, or against labels.
    pub detector: Part<DetectorScores>,
    /// Which boxes the map holds to be the same fruit; the places of the map do not matter here.
    pub association: Part<AssociationScores>,
    /// Fused fruitlets, clusters and trees by the labels of boxes alone.
    pub by_identity: Part<IdentityScores>,
    /// The same question as the tracking literature asks it: by the overlap of claimed boxes with true ones.
    pub tracking: Part<TrackingScores>,
    /// Everything in the coordinates of the outputs.
    pub absolute: Part<PlacedScores>,
    /// The slow common shift that the next part takes away.
    pub common_shift: Part<ShiftScores>,
    /// Everything after map and tool poses are moved by the slow common shift of their place.
    pub shift_removed: Part<PlacedScores>,
    /// Fruit on trees, in rows and in the block.
    pub counts: Part<CountScores>,
    /// 95 % intervals of the headline figures over trees or clusters.
    pub intervals: Part<Intervals>,
    /// Tree by tree, cluster by cluster, image by image.
    pub rows: Part<Rows>,
}

/// A part of the score, or why it is absent.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Part<T> {
    /// The figures.
    Scored(Box<T>),
    /// There are none.
    Absent {
        /// Why.
        absent_because: String,
    },
}

impl<T> Part<T> {
    /// The figures.
    pub(crate) fn scored(figures: T) -> Self {
        Part::Scored(Box::new(figures))
    }

    /// No figures.
    pub(crate) fn absent(because: impl Into<String>) -> Self {
        Part::Absent {
            absent_because: because.into(),
        }
    }

    /// The figures, where there are any.
    #[must_use]
    pub fn figures(&self) -> Option<&T> {
        match self {
            Part::Scored(figures) => Some(figures),
            Part::Absent { .. } => None,
        }
    }
}

/// What there was to find.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TruthScores {
    /// True objects.
    pub objects: usize,
    /// Those of them that only have a name.
    pub objects_without_place: usize,
    /// Seen in at least two labelled images: these are expected in the map. Where the truth states places alone, all are.
    pub considered: usize,
    /// Seen in one image.
    pub seen_once: usize,
    /// Seen in none.
    pub never_seen: usize,
    /// True clusters.
    pub clusters: usize,
    /// True clusters with considered fruit.
    pub clusters_considered: usize,
    /// Images that show a considered fruitlet.
    pub images_per_fruitlet: Spread,
    /// Images whose labels follow from true boxes by overlap.
    pub images_labelled_by_boxes: usize,
    /// Images without labels; their boxes are left out.
    pub images_without_labels: usize,
    /// Images with more or fewer labels than boxes; boxes beyond the labels are left out.
    pub images_with_other_label_count: usize,
    /// Places where fruit was counted by hand.
    pub hand_counts: usize,
}

/// The slow common shift.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShiftScores {
    /// Errors of the map fruit whose identity their boxes' labels tell.
    pub identified_error_mm: Spread,
    /// Mean over the map fruitlets of the size of the shift at their place.
    pub mean_shift_mm: Figure,
}

/// The figures that depend on where things are.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlacedScores {
    /// Fused fruitlets.
    pub fruitlets: FruitScores,
    /// Which way they hang.
    pub orientation: OrientationScores,
    /// Stem and calyx boxes.
    pub pairing: PartScores,
    /// Clusters.
    pub clusters: ClusterScores,
    /// Kings.
    pub kings: KingScores,
    /// Trees and limbs.
    pub trees: TreeScores,
    /// Decisions.
    pub decisions: Part<DecisionScores>,
    /// Orders.
    pub orders: Part<OrderScores>,
    /// Everything that claims a probability.
    pub calibration: CalibrationScores,
}
