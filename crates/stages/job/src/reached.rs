//! The stages by name, and how far a job went.

/// A stage of the job, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// Boxes in images to bodies in space.
    Fusion,
    /// Bodies to clusters and trees.
    Clusters,
    /// Every way to thin each cluster.
    Approach,
    /// One way for each cluster.
    Thinning,
    /// Stops and an order of tasks.
    Sequence,
}

impl Stage {
    /// Every stage, in order.
    pub const ALL: [Stage; 5] = [
        Stage::Fusion,
        Stage::Clusters,
        Stage::Approach,
        Stage::Thinning,
        Stage::Sequence,
    ];

    /// The name in files and messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Stage::Fusion => "fusion",
            Stage::Clusters => "clusters",
            Stage::Approach => "approach",
            Stage::Thinning => "thinning",
            Stage::Sequence => "sequence",
        }
    }
}

/// What a listener hears; begin and end of a stage come in pairs, one stage after the other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StageEvent {
    /// A stage begins.
    Begin {
        /// Which.
        stage: Stage,
    },
    /// A stage ends.
    End {
        /// Which.
        stage: Stage,
        /// How many bodies, fruitlets, ways, decisions or orders it produced.
        items: usize,
    },
}

/// How far a job went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reached {
    /// The last stage done.
    pub last: Stage,
    /// Why it went no further; `None` where it went all the way.
    pub stopped: Option<WhyStopped>,
}

impl Reached {
    pub(crate) const MAP: Self = Self {
        last: Stage::Clusters,
        stopped: Some(WhyStopped::NoPolicy),
    };

    pub(crate) fn with(orders: bool) -> Self {
        if orders {
            return Self {
                last: Stage::Sequence,
                stopped: None,
            };
        }
        Self {
            last: Stage::Thinning,
            stopped: Some(WhyStopped::NoArm),
        }
    }

    /// Why it went no further, as a clause; that all is done where it went all the way.
    #[must_use]
    pub fn sentence(self) -> &'static str {
        match self.stopped {
            Some(WhyStopped::NoPolicy) => "no policy was given, so nothing is decided",
            Some(WhyStopped::NoArm) => "no arm was given, so there are no orders",
            None => "everything that was asked for is done",
        }
    }
}

/// Why a job goes no further.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyStopped {
    /// Nobody said what to keep.
    NoPolicy,
    /// Nobody said with which arm.
    NoArm,
}
