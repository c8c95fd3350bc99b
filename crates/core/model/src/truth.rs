//! Hand-labelled or simulated truth. No stage but scoring may see it.

use crate::frames::{Direction, Orchard, Point};
use std::collections::BTreeMap;

/// Truth of a run.
#[derive(Debug, Clone, Default)]
pub struct Truth {
    /// The fruitlets that there are.
    pub fruitlets: Vec<TrueFruitlet>,
    /// Frame id -> for each detection the position in `fruitlets` that the box shows (for a stem or calyx box: the
    /// fruitlet that it belongs to), or `None` for a false positive.
    pub detections: BTreeMap<String, Vec<Option<usize>>>,
}

/// A true fruitlet.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueFruitlet {
    /// Unique name.
    pub id: String,
    /// Id of its tree.
    pub tree: String,
    /// Id of its limb.
    pub limb: Option<String>,
    /// Id of its cluster.
    pub cluster: String,
    /// Centre.
    pub centre: Point<Orchard>,
    /// Diameter across the axis.
    pub diameter_m: f64,
    /// From the stem end to the calyx end.
    pub axis: Direction<Orchard>,
    /// Where the stem meets the fruit.
    pub stem_top: Point<Orchard>,
    /// Where the stem meets the spur.
    pub spur: Point<Orchard>,
    /// Whether it is the king of its cluster.
    pub king: bool,
}
