//! The block's policy, in the words of the trade.

/// What the grower and adviser want.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Policy {
    /// Name of the policy.
    pub name: String,
    /// Bounds on the fruit of a tree; each product is rounded down and the smallest that can be computed holds.
    pub target: Target,
    /// Fruit to leave in a cluster.
    pub keep_at_most: usize,
    /// Least distance along the limb between the spurs of clusters that keep fruit.
    pub spacing_along_limb_m: Option<f64>,
    /// Weights of a kept fruit's worth.
    pub prefer: Prefer,
    /// Below this existence or membership a fruitlet is looked at again, not acted on.
    pub act_above: f64,
    /// Losses to reckon with.
    pub losses: Losses,
    /// What is fixed beforehand.
    pub pins: Vec<Pin>,
}

/// Bounds on the fruit of a tree.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Target {
    /// Fruit per cm2 of trunk cross-sectional area.
    pub fruit_per_cm2_trunk: Option<f64>,
    /// Fruit per tree.
    pub fruit_per_tree: Option<f64>,
    /// Fruit per cm2 of the summed base areas of the side limbs.
    pub fruit_per_cm2_limb: Option<f64>,
}

/// Weights: worth = king x king probability + diameter x (diameter / the tree's mean) + reach x success.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Prefer {
    /// May be negative.
    pub king: f64,
    /// Weight of the size.
    pub diameter: f64,
    /// Weight of the probability that the plan which leaves it succeeds.
    pub reach: f64,
}

/// Losses to reckon with.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Losses {
    /// Share expected to fall by itself.
    pub natural_drop: Option<f64>,
    /// Share of cuts that work.
    pub tool_success: Option<f64>,
    /// Whether fruit estimated but never seen counts towards the load.
    pub count_unseen: bool,
}

/// A decision fixed beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct Pin {
    /// What is pinned.
    pub what: Pinned,
    /// How.
    pub as_: PinAs,
}

/// What a pin holds, by id.
#[derive(Debug, Clone, PartialEq)]
pub enum Pinned {
    /// One fruitlet.
    Fruitlet(String),
    /// All of a cluster.
    Cluster(String),
    /// All on a limb.
    Limb(String),
    /// All on a tree.
    Tree(String),
}

/// How a pin holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PinAs {
    /// Stays.
    Keep,
    /// Goes.
    Remove,
    /// Is neither touched nor decided.
    LeaveAlone,
}
