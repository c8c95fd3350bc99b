//! On what ground each fruitlet stays, goes or waits: facts first, words later.

use crate::candidates::{Candidate, is_kept};
use crate::compare::{Comparison, between, lost_by};
use crate::facts::Facts;
use crate::plan::TreePlan;
use crate::standing::Status;
use corymb_model::decisions::{Action, Bound, Rule};

/// Why a fruitlet gets its action.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Ground {
    /// A pin keeps it.
    PinnedToStay,
    /// A pin sends it off.
    PinnedToGo,
    /// A pin sends it off, but no way does.
    PinnedToGoInVain,
    /// A pin leaves it alone.
    LeftAlone,
    /// It is not sure enough.
    InDoubt,
    /// The only sure one of a cluster that is full of fruit in doubt.
    LastSure {
        /// Fruit of its cluster that waits for another look.
        waiting: usize,
    },
    /// Its cluster holds no more than it may.
    WithinLimit {
        /// Fruit of its cluster that is meant to stay.
        stays: usize,
    },
    /// It stays although its cluster holds too much: nothing takes it off.
    NothingTakesIt {
        /// Fruit of its cluster that is meant to stay.
        stays: usize,
    },
    /// It won against another one of its cluster.
    Won(Comparison),
    /// Its cluster may not hold one more.
    OverLimit(Option<Comparison>),
    /// Another cluster that keeps fruit is too near.
    TooNear {
        /// That cluster.
        neighbour: usize,
        /// The gap between the spurs.
        gap_m: f64,
    },
    /// The tree may not carry one more.
    OverTarget {
        /// Fruit to leave on the tree.
        to_leave: u64,
        /// The bound that gave it.
        bound: Bound,
        /// The fruit kept on the tree that is worth least.
        least_kept: Option<usize>,
    },
    /// No bound sends it off, but no better way leaves it.
    NoBetterWay(Option<Comparison>),
}

impl Ground {
    /// What happens to the fruitlet.
    pub(crate) fn action(&self) -> Action {
        match self {
            Ground::InDoubt => Action::LookAgain,
            Ground::PinnedToStay
            | Ground::PinnedToGoInVain
            | Ground::LeftAlone
            | Ground::LastSure { .. }
            | Ground::WithinLimit { .. }
            | Ground::NothingTakesIt { .. }
            | Ground::Won(_) => Action::Keep,
            Ground::PinnedToGo
            | Ground::OverLimit(_)
            | Ground::TooNear { .. }
            | Ground::OverTarget { .. }
            | Ground::NoBetterWay(_) => Action::Remove,
        }
    }

    /// The rule that decided.
    pub(crate) fn rule(&self) -> Rule {
        match self {
            Ground::PinnedToStay
            | Ground::PinnedToGo
            | Ground::PinnedToGoInVain
            | Ground::LeftAlone => Rule::Pin,
            Ground::InDoubt => Rule::Confidence,
            Ground::LastSure { .. } => Rule::LastSureFruit,
            Ground::WithinLimit { .. } | Ground::NothingTakesIt { .. } => Rule::NoBound,
            Ground::Won(_) | Ground::NoBetterWay(_) => Rule::Preferred,
            Ground::OverLimit(_) => Rule::ClusterLimit,
            Ground::TooNear { .. } => Rule::Spacing,
            Ground::OverTarget { .. } => Rule::TreeTarget,
        }
    }
}

/// What a tree's bound did, as the grounds refer to it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TreeBound {
    /// Fruit to leave and the bound, where it held.
    held: Option<(u64, Bound)>,
    /// The fruit kept on the tree that is worth least.
    least_kept: Option<usize>,
}

impl TreeBound {
    /// The bound of one tree. O(fruit).
    pub(crate) fn of(facts: &Facts<'_>, plan: &TreePlan) -> Self {
        let held = plan.to_leave.zip(plan.target.target).filter(|_| plan.binds);
        let free = |i: &usize| facts.standing.status[*i] == Status::Free;
        let kept = plan
            .picks
            .iter()
            .flat_map(|&(c, _)| facts.kept(c))
            .filter(free);
        let worth = |i: usize| facts.worth_as_chosen(i);
        let least_kept = kept.min_by(|&a, &b| worth(a).total_cmp(&worth(b)));
        Self {
            held: held.map(|(n, (_, bound))| (n, bound)),
            least_kept,
        }
    }
}

/// The ground for a fruitlet; `None` where it gets no decision.
pub(crate) fn of(facts: &Facts<'_>, fruitlet: usize, tree: &TreeBound) -> Option<Ground> {
    let cluster = facts.input.map.fruitlets.get(fruitlet)?.cluster_idx;
    let chosen = facts.chosen(cluster)?;
    let stays = chosen.stays.contains(&fruitlet);
    match facts.standing.status.get(fruitlet)? {
        Status::Undecided => None,
        Status::Waiting => Some(Ground::InDoubt),
        Status::MustStay => Some(Ground::PinnedToStay),
        Status::LeftAlone => Some(Ground::LeftAlone),
        Status::MustGo if stays => Some(Ground::PinnedToGoInVain),
        Status::MustGo => Some(Ground::PinnedToGo),
        Status::Free if stays => Some(stay(facts, cluster, chosen, fruitlet)),
        Status::Free => Some(go(facts, cluster, chosen, fruitlet, tree)),
    }
}

fn stay(facts: &Facts<'_>, cluster: usize, chosen: &Candidate<'_>, fruitlet: usize) -> Ground {
    let members = &facts.standing.members[cluster];
    let status = |i: usize| facts.standing.status[i];
    let waiting = members
        .iter()
        .filter(|&&i| status(i) == Status::Waiting)
        .count();
    let sure_left = members
        .iter()
        .filter(|&&i| facts.standing.sure[i] && is_kept(status(i)));
    let sure_left = sure_left.filter(|i| chosen.stays.contains(i)).count();
    let stays = chosen.stays.len();
    if waiting > 0 && sure_left == 1 && stays > facts.input.policy.keep_at_most {
        return Ground::LastSure { waiting };
    }
    let lost = members
        .iter()
        .filter(|&&i| status(i) == Status::Free && !chosen.stays.contains(&i));
    let rivals = lost.filter_map(|&i| between(facts, fruitlet, i));
    let closest = rivals.max_by(|a, b| a.loser_worth.total_cmp(&b.loser_worth));
    match closest {
        Some(won) => Ground::Won(won),
        None if stays > facts.input.policy.keep_at_most => Ground::NothingTakesIt { stays },
        None => Ground::WithinLimit { stays },
    }
}

fn go(
    facts: &Facts<'_>,
    cluster: usize,
    chosen: &Candidate<'_>,
    fruitlet: usize,
    tree: &TreeBound,
) -> Ground {
    let others = chosen.stays.len();
    if others + 1 > facts.input.policy.keep_at_most {
        return Ground::OverLimit(lost_by(facts, fruitlet));
    }
    let near = if others == 0 {
        facts.too_near(cluster)
    } else {
        None
    };
    match (near, tree.held) {
        (Some((neighbour, gap_m)), _) => Ground::TooNear { neighbour, gap_m },
        (None, Some((to_leave, bound))) => Ground::OverTarget {
            to_leave,
            bound,
            least_kept: tree.least_kept,
        },
        (None, None) => Ground::NoBetterWay(lost_by(facts, fruitlet)),
    }
}
