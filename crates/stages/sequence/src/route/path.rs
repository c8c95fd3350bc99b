//! A path that can be changed a little, with what each change costs and whether precedences allow it.

use super::{Costs, Links};

/// A path with the place of each place on it.
#[derive(Debug, Clone)]
pub(crate) struct Path<'a> {
    costs: &'a Costs,
    links: &'a Links,
    /// Places in order.
    pub(crate) order: Vec<usize>,
    /// Position of each place in `order`.
    pub(crate) at: Vec<usize>,
}

/// A change of a path, by positions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Move {
    /// The stretch from the first to the last position turned round.
    Reverse {
        /// First position.
        first: usize,
        /// Last position.
        last: usize,
    },
    /// The stretch taken out and put back before position `gap` of the path as it was (or at its end).
    Shift {
        /// First position.
        first: usize,
        /// Last position.
        last: usize,
        /// From 0 to the length; outside the stretch and not next to it.
        gap: usize,
        /// Whether it is turned round.
        turned: bool,
    },
}

impl<'a> Path<'a> {
    /// The path of an order.
    pub(crate) fn of(costs: &'a Costs, links: &'a Links, order: Vec<usize>) -> Self {
        let mut at = vec![0; order.len()];
        for (position, &place) in order.iter().enumerate() {
            at[place] = position;
        }
        Self {
            costs,
            links,
            order,
            at,
        }
    }

    /// The place at a position, `None` beyond either end.
    fn place(&self, position: Option<usize>) -> Option<usize> {
        self.order.get(position?).copied()
    }

    /// The cost between two places; nothing beyond the ends.
    fn cost(&self, a: Option<usize>, b: Option<usize>) -> i64 {
        match (a, b) {
            (Some(a), Some(b)) => self.costs.get(a, b),
            _ => 0,
        }
    }

    /// The cost between two places.
    pub(crate) fn between(&self, a: usize, b: usize) -> i64 {
        self.costs.get(a, b)
    }

    /// The larger of the costs from a place to what is before and after it on the path.
    pub(crate) fn longest_beside(&self, place: usize) -> i64 {
        let at = self.at[place];
        let (before, after) = (self.place(at.checked_sub(1)), self.place(Some(at + 1)));
        self.cost(before, Some(place))
            .max(self.cost(Some(place), after))
    }

    /// By how much a change shortens the path.
    pub(crate) fn gain(&self, change: Move) -> i64 {
        match change {
            Move::Reverse { first, last } => {
                let (left, right) = (self.place(first.checked_sub(1)), self.place(Some(last + 1)));
                let (head, tail) = (self.place(Some(first)), self.place(Some(last)));
                self.cost(left, head) + self.cost(tail, right)
                    - self.cost(left, tail)
                    - self.cost(head, right)
            }
            Move::Shift {
                first,
                last,
                gap,
                turned,
            } => {
                let (left, right) = (self.place(first.checked_sub(1)), self.place(Some(last + 1)));
                let (mut head, mut tail) = (self.place(Some(first)), self.place(Some(last)));
                let taken_out =
                    self.cost(left, head) + self.cost(tail, right) - self.cost(left, right);
                if turned {
                    std::mem::swap(&mut head, &mut tail);
                }
                let (before, after) = (self.place(gap.checked_sub(1)), self.place(Some(gap)));
                let put_in =
                    self.cost(before, head) + self.cost(tail, after) - self.cost(before, after);
                taken_out - put_in
            }
        }
    }

    /// Whether the path keeps every precedence after a change. O(length of the stretch).
    pub(crate) fn allows(&self, change: Move) -> bool {
        let at = |place: Option<usize>| place.map(|p| self.at[p]);
        let within = |position: Option<usize>, from: usize, to: usize| {
            position.is_some_and(|p| (from..to).contains(&p))
        };
        match change {
            Move::Reverse { first, last } => {
                let inside = &self.order[first..=last];
                !inside
                    .iter()
                    .any(|&p| within(at(self.links.before[p]), first, last + 1))
            }
            Move::Shift {
                first,
                last,
                gap,
                turned,
            } => {
                let turn = Move::Reverse { first, last };
                let inside = &self.order[first..=last];
                let passes = |&p: &usize| {
                    within(at(self.links.before[p]), gap, first)
                        || within(at(self.links.after[p]), last + 1, gap)
                };
                (!turned || self.allows(turn)) && !inside.iter().any(passes)
            }
        }
    }

    /// Makes a change. O(length of what is moved).
    pub(crate) fn make(&mut self, change: Move) {
        let (from, to) = match change {
            Move::Reverse { first, last } => {
                self.order[first..=last].reverse();
                (first, last + 1)
            }
            Move::Shift {
                first,
                last,
                gap,
                turned,
            } => {
                if turned {
                    self.order[first..=last].reverse();
                }
                if gap > last {
                    self.order[first..gap].rotate_left(last + 1 - first);
                } else {
                    self.order[gap..=last].rotate_right(last + 1 - first);
                }
                (first.min(gap), gap.max(last + 1))
            }
        };
        for position in from..to {
            self.at[self.order[position]] = position;
        }
    }
}
