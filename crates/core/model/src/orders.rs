//! The task list.

use crate::frames::{CameraFrame, Orchard, Pose, Rig};
use crate::ways::{PlannedRemoval, Refusal};

/// The output of sequencing.
#[derive(Debug, Clone, Default)]
pub struct TaskList {
    /// Orders in the order of execution.
    pub orders: Vec<Order>,
    /// Fruit that ought to go and has no order.
    pub refusals: Vec<Refusal>,
    /// What was learned on the way.
    pub stats: SequenceStats,
}

/// How the sequence came out.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SequenceStats {
    /// Stops used.
    pub stops: usize,
    /// Path of the tool between successive enclose poses, summed over the stops.
    pub travel_m: f64,
    /// Time of the whole list.
    pub duration_s: f64,
}

/// One task.
#[derive(Debug, Clone)]
pub struct Order {
    /// Stable name.
    pub id: String,
    /// Increases through the list.
    pub seq: u64,
    /// Stop of the platform; `None` where no platform is stated.
    pub stop: Option<i64>,
    /// The rig at that stop.
    pub orchard_from_rig: Option<Pose<Orchard, Rig>>,
    /// Orders that must be done before, by id.
    pub needs: Vec<String>,
    /// Position in `CropMap::clusters`.
    pub cluster_idx: usize,
    /// Time for it, with the travel to it.
    pub duration_s: f64,
    /// What is done.
    pub work: Work,
}

/// What an order does.
#[derive(Debug, Clone)]
#[allow(clippy::large_enum_variant)] // nearly every order is a removal, so a box would save nothing
pub enum Work {
    /// Remove fruit.
    Remove {
        /// The plan.
        plan: PlannedRemoval,
        /// Fruit of the cluster to be kept: positions in `CropMap::fruitlets`.
        keepers: Vec<usize>,
    },
    /// Look again.
    Look {
        /// The fruitlet in doubt: position in `CropMap::fruitlets`.
        fruitlet_idx: usize,
        /// Position in `Run::cameras`.
        camera_idx: usize,
        /// From where.
        orchard_from_camera: Pose<Orchard, CameraFrame>,
    },
}
