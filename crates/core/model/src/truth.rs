//! Hand-labelled or simulated truth. No stage but scoring may see it.

use crate::frames::{Direction, Orchard, Point};
use crate::run::Class;
use std::collections::BTreeMap;

/// Truth of a run, as far as it is known: everything (a simulator), identities of boxes (labelled images), counts of
/// trees (a person with a clicker), or parts of these.
///
/// Objects go by one number: position `p` is `fruitlets[p]`, and beyond those `named[p - fruitlets.len()]`.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Truth {
    /// The fruitlets whose place is known.
    pub fruitlets: Vec<TrueFruitlet>,
    /// Objects that only have a name, from labelled images.
    pub named: Vec<NamedObject>,
    /// Frame id -> for each detection the object that the box shows (for a stem or calyx box: the fruitlet that it
    /// belongs to), or `None` for a false positive.
    pub detections: BTreeMap<String, Vec<Option<usize>>>,
    /// Frame id -> what a perfect detector would box there. An image without an entry is not labelled.
    pub boxes: BTreeMap<String, Vec<TrueBox>>,
    /// Frame id -> parts of the image that were not labelled, as x0, y0, x1, y1 in pixels; what lies there counts for
    /// nothing and against nothing.
    pub left_out: BTreeMap<String, Vec<[f64; 4]>>,
    /// Fruit counted by hand.
    pub counts: Vec<HandCount>,
}

/// An object known by name alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedObject {
    /// Unique name, also among the fruitlets.
    pub id: String,
    /// Id of its tree.
    pub tree: Option<String>,
    /// Id of its cluster.
    pub cluster: Option<String>,
}

/// A box as a perfect detector would draw it.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueBox {
    /// What it shows.
    pub class: Class,
    /// The object that it shows, or that the stem or calyx end belongs to; `None` where nobody said which.
    pub object: Option<usize>,
    /// x0, y0, x1, y1 of the visible part, pixels.
    pub box_px: [f64; 4],
    /// Share of the object's area in the image that is not hidden, 0 to 1, where known.
    pub visible_share: Option<f64>,
}

/// A count by hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandCount {
    /// Where it was counted.
    pub on: Counted,
    /// Fruit there.
    pub fruitlets: usize,
}

/// What a count covers.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counted {
    /// The tree of this id.
    Tree(String),
    /// All trees of the row of this id.
    Row(String),
    /// Everything.
    Block,
}

impl Truth {
    /// Number of objects.
    #[must_use]
    pub fn objects(&self) -> usize {
        self.fruitlets.len() + self.named.len()
    }

    /// Name of an object.
    #[must_use]
    pub fn object_id(&self, object: usize) -> Option<&str> {
        match self.fruitlets.get(object) {
            Some(fruitlet) => Some(&fruitlet.id),
            None => self.named(object).map(|n| n.id.as_str()),
        }
    }

    /// Id of the tree of an object, where known.
    #[must_use]
    pub fn tree_of(&self, object: usize) -> Option<&str> {
        match self.fruitlets.get(object) {
            Some(fruitlet) => Some(&fruitlet.tree),
            None => self.named(object)?.tree.as_deref(),
        }
    }

    /// Id of the cluster of an object, where known.
    #[must_use]
    pub fn cluster_of(&self, object: usize) -> Option<&str> {
        match self.fruitlets.get(object) {
            Some(fruitlet) => Some(&fruitlet.cluster),
            None => self.named(object)?.cluster.as_deref(),
        }
    }

    fn named(&self, object: usize) -> Option<&NamedObject> {
        self.named.get(object.checked_sub(self.fruitlets.len())?)
    }
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
