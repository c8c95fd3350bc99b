//! The score unit by unit: trees (and clusters, where there are few trees), clusters and images.
//!
//! Intervals resample whole units and comparisons pair them, because fruit of one tree, seen in the same images from
//! the same poses, is not independent.

mod gather;
mod identity;
mod tally;

pub(crate) use gather::{Judged, rows};
pub use tally::Tally;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Fewest units from which an interval is drawn or a test is made. Fewer say too little of how units differ; common
/// practice, no source.
pub const LEAST_UNITS: usize = 5;

/// The score unit by unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Rows {
    /// How the map lies for the figures that depend on places.
    pub placement: Placement,
    /// One a true tree, in the order of names.
    pub trees: Vec<UnitRow>,
    /// One a true cluster, in the order of names; only where there are fewer than [`LEAST_UNITS`] trees.
    pub cluster_units: Vec<UnitRow>,
    /// True clusters with considered fruit, in the order of names.
    pub clusters: Vec<ClusterRow>,
    /// Images with labels, in the order of the run.
    pub frames: Vec<FrameRow>,
}

/// How the map lies when it is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Placement {
    /// As it is.
    Absolute,
    /// Without its slow common shift.
    ShiftRemoved,
}

impl Placement {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Placement::Absolute => "absolute",
            Placement::ShiftRemoved => "common shift removed",
        }
    }
}

/// What is resampled or paired.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum UnitKind {
    /// Trees.
    Tree,
    /// True clusters.
    Cluster,
}

impl UnitKind {
    /// Several of them, in words.
    #[must_use]
    pub fn plural(self) -> &'static str {
        match self {
            UnitKind::Tree => "trees",
            UnitKind::Cluster => "clusters",
        }
    }
}

/// A unit. Fruit, boxes, clusters and orders belong to the unit of their true fruit; what has none to that of the true
/// fruit nearest to its map fruit. Objects whose tree or cluster nobody named share a unit with an empty name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UnitRow {
    /// Name of the tree or cluster.
    pub unit: String,
    /// What it adds.
    pub tally: Tally,
}

/// A true cluster.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ClusterRow {
    /// Its name.
    pub cluster: String,
    /// Name of its tree.
    pub tree: Option<String>,
    /// Considered fruit.
    pub size: usize,
    /// Whether the map has exactly its fruit in one cluster.
    pub exact: bool,
}

/// An image.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FrameRow {
    /// Its name.
    pub frame: String,
    /// Body boxes that show a considered fruitlet.
    pub boxes_true: usize,
    /// Body boxes that the map claims.
    pub boxes_claimed: usize,
    /// Body boxes with both identities.
    pub boxes_both: usize,
    /// Body boxes with the right identity under the best one-to-one map between identities.
    pub boxes_right: usize,
}

impl FrameRow {
    /// Misses, false claims and boxes with the wrong identity (which count as both).
    #[must_use]
    pub fn errors(&self) -> usize {
        (self.boxes_true + self.boxes_claimed).saturating_sub(2 * self.boxes_right)
    }
}

impl Rows {
    /// The units to resample: trees where there are enough, else clusters.
    ///
    /// # Errors
    /// Too few of both, in words.
    pub fn units(&self) -> Result<(UnitKind, &[UnitRow]), String> {
        let (trees, clusters) = (self.trees.len(), self.cluster_units.len());
        if trees >= LEAST_UNITS {
            Ok((UnitKind::Tree, &self.trees))
        } else if clusters >= LEAST_UNITS {
            Ok((UnitKind::Cluster, &self.cluster_units))
        } else {
            Err(too_few(trees, clusters))
        }
    }
}

/// Why nothing is resampled.
pub(crate) fn too_few(trees: usize, clusters: usize) -> String {
    format!("{trees} trees and {clusters} clusters; {LEAST_UNITS} of one of them are needed")
}
