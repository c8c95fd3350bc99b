//! The ways in which each cluster could be thinned.

use crate::frames::{Orchard, Pose, Tool};

/// Every way to thin one cluster, and what cannot be done.
#[derive(Debug, Clone, Default)]
pub struct ClusterWays {
    /// Position in `CropMap::clusters`.
    pub cluster_idx: usize,
    /// Ways, for every choice of who stays that was asked for. Never empty: to leave all as it is is a way.
    pub ways: Vec<Way>,
    /// `None` where the order of removal of every way is the best there is; else how far it may be from it.
    pub gap: Option<OrderGap>,
}

/// How far the orders of removal of a cluster may be from the best, where it is too large to search them all.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct OrderGap {
    /// No way could remove more than this many fruit beyond what it does.
    pub removals: usize,
    /// No way could be more than this factor likelier to succeed than it is, for the fruit it removes (at least 1).
    pub probability_factor: f64,
}

/// One way: who stays, who goes in which order by which poses, and who should go but cannot.
#[derive(Debug, Clone, Default)]
pub struct Way {
    /// Fruit that stays by choice: positions in `CropMap::fruitlets`, ascending.
    pub keepers: Vec<usize>,
    /// Removals in the order of execution; empty where no tool is given.
    pub removals: Vec<PlannedRemoval>,
    /// Fruit that goes in this way but no tool is given for it, ascending.
    pub removed_without_tool: Vec<usize>,
    /// Fruit that ought to go and cannot be reached: it stays on the tree all the same.
    pub refused: Vec<Refusal>,
    /// Probability that all removals succeed.
    pub probability: f64,
    /// Time for the removals, seconds, without travel between them.
    pub duration_s: f64,
}

/// One closing of the tool.
#[derive(Debug, Clone)]
pub struct PlannedRemoval {
    /// Fruit to be cut: positions in `CropMap::fruitlets`.
    pub targets: Vec<usize>,
    /// The fruit that is enclosed: the target, or the keeper.
    pub enclosed: usize,
    /// Position in `ArmSetup::tools`.
    pub tool_idx: usize,
    /// Position in `ArmSetup::arms`; `None` where reach is not checked.
    pub arm_idx: Option<usize>,
    /// Tool pose at the end of the approach; `standoff` lies back along the tool's -z.
    pub orchard_from_tool: Pose<Orchard, Tool>,
    /// Tool pose when the blade closes.
    pub orchard_from_tool_cut: Pose<Orchard, Tool>,
    /// Angle between the tool's -z and the fruit's axis.
    pub tilt_rad: f64,
    /// Smallest predicted distance to what must not be touched.
    pub clearance_m: f64,
    /// Share of the sweep that no camera saw into; `None` where not computed.
    pub unseen_share: Option<f64>,
    /// Probability of success once the place has been found again at the stop.
    pub success_probability: f64,
    /// Probability of success without.
    pub success_probability_unlocated: f64,
    /// First and last stop of the platform from which the arm reaches every pose; `None` without platform or arm.
    pub stops: Option<(i64, i64)>,
    /// Time from standoff to retreat, seconds.
    pub duration_s: f64,
    /// Whether reach was checked.
    pub reach_checked: bool,
    /// What was not checked, in plain words.
    pub not_checked: Vec<String>,
}

/// Why a fruitlet that ought to go has no order.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    /// Position in `CropMap::fruitlets`.
    pub fruitlet_idx: usize,
    /// The first condition that no pose could meet.
    pub reason: RefusalReason,
    /// What is in the way: ids of fruitlets, limbs, obstacles.
    pub blocked_by: Vec<String>,
    /// By how much it fails.
    pub shortfall: Option<Shortfall>,
}

/// By how much a condition fails.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shortfall {
    /// A length, metres.
    Metres(f64),
    /// An angle, radians.
    Radians(f64),
}

/// Why no pose does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RefusalReason {
    /// The direction in which the fruit hangs is not known.
    NoAxis,
    /// The fruit does not fit into the enclosure.
    TooLarge,
    /// The stem is too short for the cutting plane, or its spur lies behind it.
    StemTooShort,
    /// The sweep would touch fruit that must not be touched.
    BlockedByFruit,
    /// The blade would cut the stem of a fruit that stays.
    CutsOtherStem,
    /// The sweep would meet a limb.
    BlockedByLimb,
    /// The sweep would meet an obstacle.
    BlockedByObstacle,
    /// The arm reaches no stop from which the poses lie within its bounds.
    OutOfReach,
    /// The tool cannot point that way.
    ReachDirection,
    /// No fruit stays that a tool which guards the one to keep could enclose.
    NoKeeper,
    /// The blade does not reach the stem from outside the enclosure.
    BladeMissesStem,
    /// Every condition can be met, but success is less likely than what is asked for.
    TooUnlikely,
    /// The cluster has more fruit than can be planned for.
    ClusterTooLarge,
    /// It is to go, but its removal would leave the cluster without fruit that is surely there.
    LastSureFruit,
}

impl RefusalReason {
    /// The name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            RefusalReason::NoAxis => "no_axis",
            RefusalReason::TooLarge => "fruit_too_large",
            RefusalReason::StemTooShort => "stem_too_short",
            RefusalReason::BlockedByFruit => "blocked_by_fruit",
            RefusalReason::CutsOtherStem => "cuts_other_stem",
            RefusalReason::BlockedByLimb => "blocked_by_limb",
            RefusalReason::BlockedByObstacle => "blocked_by_obstacle",
            RefusalReason::OutOfReach => "out_of_reach",
            RefusalReason::ReachDirection => "reach_direction",
            RefusalReason::NoKeeper => "no_keeper",
            RefusalReason::BladeMissesStem => "blade_misses_stem",
            RefusalReason::TooUnlikely => "success_too_unlikely",
            RefusalReason::ClusterTooLarge => "cluster_too_large",
            RefusalReason::LastSureFruit => "last_sure_fruit",
        }
    }
}
