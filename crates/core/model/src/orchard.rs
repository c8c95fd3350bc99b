//! What is known of the orchard beforehand: rows, trees with their limbs, obstacles.

use crate::frames::{BoxFrame, Orchard, Point, Pose};

/// Rows, trees and obstacles.
#[derive(Debug, Clone, Default)]
pub struct OrchardModel {
    /// Rows.
    pub rows: Vec<Row>,
    /// Trees, in the order of the file.
    pub trees: Vec<Tree>,
    /// Wires, posts and other things that a tool must not meet.
    pub obstacles: Vec<Obstacle>,
}

/// A row of trees.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Unique name.
    pub id: String,
    /// One end.
    pub from: Point<Orchard>,
    /// The other end.
    pub to: Point<Orchard>,
}

/// A tree.
#[derive(Debug, Clone, PartialEq)]
pub struct Tree {
    /// Unique name.
    pub id: String,
    /// Position in [`OrchardModel::rows`].
    pub row_idx: usize,
    /// Where the trunk meets the ground.
    pub base: Point<Orchard>,
    /// Trunk diameter, where measured.
    pub trunk_diameter_m: Option<f64>,
    /// Leader and limbs.
    pub limbs: Vec<Limb>,
}

/// Whether a limb is the leader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LimbKind {
    /// The (or a) central leader.
    Leader,
    /// A side limb.
    Limb,
}

/// A limb as a polyline with radii, base to tip.
#[derive(Debug, Clone, PartialEq)]
pub struct Limb {
    /// Name, unique in the orchard.
    pub id: String,
    /// Leader or limb.
    pub kind: LimbKind,
    /// Points from base to tip, at least two.
    pub points: Vec<Point<Orchard>>,
    /// Radius at each point.
    pub radii_m: Vec<f64>,
}

/// Something solid that is not a tree.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// Unique name.
    pub id: String,
    /// Its shape.
    pub shape: ObstacleShape,
}

/// The shape of an obstacle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ObstacleShape {
    /// A cylinder with round ends.
    Capsule {
        /// One end of the axis.
        a: Point<Orchard>,
        /// The other end of the axis.
        b: Point<Orchard>,
        /// Radius.
        radius_m: f64,
    },
    /// A solid box about the origin of its own frame.
    Box {
        /// Where it stands.
        orchard_from_box: Pose<Orchard, BoxFrame>,
        /// Full edge lengths along x, y, z of its frame.
        size_m: [f64; 3],
    },
}
