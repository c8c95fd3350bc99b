//! A body: a fruitlet, flower, flower cluster or bud, as a slightly prolate spheroid.

use corymb_model::frames::Orchard;
use corymb_model::run::Class;
use corymb_model::{Direction, Point};

/// A true body.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueBody {
    /// Unique name; `None` for a thing that only looks like a body.
    pub id: Option<String>,
    /// What it is.
    pub class: Class,
    /// Position in the orchard's trees.
    pub tree_idx: usize,
    /// Position in that tree's limbs.
    pub limb_idx: usize,
    /// Distance of the spur along the limb from its base, metres.
    pub along_limb_m: f64,
    /// Position among all clusters; equal for bodies of one cluster.
    pub cluster_idx: usize,
    /// Whether it is the king of its cluster.
    pub king: bool,
    /// Centre at rest.
    pub centre: Point<Orchard>,
    /// Diameter across the axis, metres.
    pub diameter_m: f64,
    /// Length along the axis over the diameter.
    pub length_ratio: f64,
    /// From the stem end to the calyx end.
    pub axis: Direction<Orchard>,
    /// The stem from the spur to the body, at least two points.
    pub stem: Vec<Point<Orchard>>,
    /// Whether it is damaged.
    pub damaged: bool,
}

impl TrueBody {
    /// Half of the diameter, metres.
    #[must_use]
    pub fn radius_m(&self) -> f64 {
        0.5 * self.diameter_m
    }

    /// Radius of a ball about the centre that holds the whole body, metres.
    #[must_use]
    pub fn outer_radius_m(&self) -> f64 {
        self.radius_m() * self.length_ratio.max(1.0)
    }

    /// Where the stem leaves the spur.
    #[must_use]
    pub fn spur(&self) -> Point<Orchard> {
        self.stem.first().copied().unwrap_or(self.centre)
    }

    /// Where the stem meets the body.
    #[must_use]
    pub fn stem_top(&self) -> Point<Orchard> {
        self.stem.last().copied().unwrap_or(self.centre)
    }

    /// The calyx end.
    #[must_use]
    pub fn calyx(&self) -> Point<Orchard> {
        let half = self.radius_m() * self.length_ratio;
        Point::from_vector(self.centre.xyz + self.axis.xyz * half)
    }
}
