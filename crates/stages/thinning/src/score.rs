//! How combinations of ways compare.

use std::ops::{Add, AddAssign, Sub};

/// What speaks for a combination of ways with a given number of fruit meant to stay: larger is better, the first
/// difference decides. Scores add component by component and the order agrees with addition, which is all that the
/// max-plus steps need to be exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(crate) struct Score {
    /// Minus the pins that are broken.
    pub(crate) pins: i64,
    /// Minus the excess over bounds by what is meant to stay.
    pub(crate) bounds: i64,
    /// Minus the excess over what a cluster may hold by what will hang there, fruit that cannot be reached included.
    pub(crate) hanging: i64,
    /// Total worth of the fruit kept, in steps of [`crate::Config::worth_step`].
    pub(crate) value: i64,
    /// Minus the sum of the ranks by id of the fruit kept.
    pub(crate) rank: i64,
}

impl Add for Score {
    type Output = Score;

    fn add(self, other: Score) -> Score {
        Score {
            pins: self.pins.saturating_add(other.pins),
            bounds: self.bounds.saturating_add(other.bounds),
            hanging: self.hanging.saturating_add(other.hanging),
            value: self.value.saturating_add(other.value),
            rank: self.rank.saturating_add(other.rank),
        }
    }
}

impl Sub for Score {
    type Output = Score;

    fn sub(self, other: Score) -> Score {
        Score {
            pins: self.pins.saturating_sub(other.pins),
            bounds: self.bounds.saturating_sub(other.bounds),
            hanging: self.hanging.saturating_sub(other.hanging),
            value: self.value.saturating_sub(other.value),
            rank: self.rank.saturating_sub(other.rank),
        }
    }
}

impl AddAssign for Score {
    fn add_assign(&mut self, other: Score) {
        *self = *self + other;
    }
}

/// What speaks for a number of fruit meant to stay: bounds first, then the number itself. The best score is known for
/// each number, so nothing else is left to compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Verdict {
    pins: i64,
    bounds: i64,
    count: usize,
}

impl Verdict {
    /// Of `count` fruit with `score`, under a bound of `to_leave` fruit where there is one.
    pub(crate) fn of(count: usize, score: Score, to_leave: Option<usize>) -> Self {
        let over = to_leave.map_or(0, |most| count.saturating_sub(most));
        Self {
            pins: score.pins,
            bounds: score.bounds.saturating_sub(as_i64(over)),
            count,
        }
    }
}

/// A count as a signed number; counts never come near the limit.
pub(crate) fn as_i64(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}
