//! Dense linear assignment by shortest augmenting paths.
//!
//! Crouse, "On implementing 2D rectangular assignment algorithms", IEEE TAES 2016, algorithm of section III, with a
//! dummy column for each row that only this row may take: the cost of staying unassigned.

use std::ops::{Add, Sub};

/// The least costly assignment of rows to columns: for each row its column, or `None`.
///
/// `costs` has `rows` x `cols` values, row after row; an infinite one forbids the pair, and so do one that is not a
/// number and one that is missing. `unassigned` has for each row the cost of leaving it out; it may be negative.
/// Rows for which it is infinite or missing (so all, where the slice is empty) are left out only where they cannot
/// all be placed: then as few of them as possible, before any cost. Minimises the sum over assigned pairs plus the
/// sum over rows left out; of equals a pair goes before leaving out, then the lower column, found in the order of
/// rows, so the result depends on the input alone. O(rows^2 cols).
#[must_use]
pub fn assign(costs: &[f64], rows: usize, cols: usize, unassigned: &[f64]) -> Vec<Option<usize>> {
    let leave = |row: usize| unassigned.get(row).copied().filter(|x| x.is_finite());
    if (0..rows).all(|row| leave(row).is_some()) {
        let leave: Vec<f64> = (0..rows).filter_map(leave).collect();
        return Solver::new(costs, cols, leave, |cost| cost).run(rows);
    }
    let leave = (0..rows).map(|row| match leave(row) {
        Some(cost) => Ranked { forced: 0, cost },
        None => Ranked {
            forced: 1,
            cost: 0.0,
        },
    });
    Solver::new(costs, cols, leave.collect(), |cost| Ranked {
        forced: 0,
        cost,
    })
    .run(rows)
}

/// Sum of the costs of an assignment: of the pairs, and of rows left out where that has a finite cost.
#[must_use]
pub fn total_cost(
    costs: &[f64],
    cols: usize,
    unassigned: &[f64],
    assignment: &[Option<usize>],
) -> f64 {
    let of_row = |(row, col): (usize, &Option<usize>)| match col {
        Some(col) => costs
            .get(row * cols + col)
            .copied()
            .unwrap_or(f64::INFINITY),
        None => unassigned
            .get(row)
            .copied()
            .filter(|x| x.is_finite())
            .unwrap_or(0.0),
    };
    assignment.iter().enumerate().map(of_row).sum()
}

/// A cost behind a count of rows that had to be left out: lexicographic, so that no large number stands for
/// infinity and takes the digits of the small ones.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
struct Ranked {
    forced: i64,
    cost: f64,
}

impl Add for Ranked {
    type Output = Ranked;
    fn add(self, other: Ranked) -> Ranked {
        Ranked {
            forced: self.forced + other.forced,
            cost: self.cost + other.cost,
        }
    }
}

impl Sub for Ranked {
    type Output = Ranked;
    fn sub(self, other: Ranked) -> Ranked {
        Ranked {
            forced: self.forced - other.forced,
            cost: self.cost - other.cost,
        }
    }
}

trait Cost: Copy + PartialOrd + Add<Output = Self> + Sub<Output = Self> {
    const ZERO: Self;
}

impl Cost for f64 {
    const ZERO: f64 = 0.0;
}

impl Cost for Ranked {
    const ZERO: Ranked = Ranked {
        forced: 0,
        cost: 0.0,
    };
}

/// Where a search ends.
enum End {
    /// At a column that nobody holds.
    Free(usize),
    /// At a row that gives up its column.
    LeaveOut(usize),
}

struct Solver<'a, C, F> {
    costs: &'a [f64],
    cols: usize,
    leave: Vec<C>,
    cost_of: F,
    row_dual: Vec<C>,
    col_dual: Vec<C>,
    col_of_row: Vec<Option<usize>>,
    row_of_col: Vec<Option<usize>>,
    /// Of each column in the running search: shortest path from the root, `None` where not reached.
    shortest: Vec<Option<C>>,
    /// The row before it on that path.
    from_row: Vec<usize>,
    /// Columns not yet settled, ascending.
    open: Vec<usize>,
    /// Columns settled, in order.
    settled: Vec<usize>,
}

impl<'a, C: Cost, F: Fn(f64) -> C> Solver<'a, C, F> {
    fn new(costs: &'a [f64], cols: usize, leave: Vec<C>, cost_of: F) -> Self {
        let rows = leave.len();
        Solver {
            costs,
            cols,
            leave,
            cost_of,
            row_dual: vec![C::ZERO; rows],
            col_dual: vec![C::ZERO; cols],
            col_of_row: vec![None; rows],
            row_of_col: vec![None; cols],
            shortest: vec![None; cols],
            from_row: vec![0; cols],
            open: Vec::with_capacity(cols),
            settled: Vec::with_capacity(cols),
        }
    }

    fn run(mut self, rows: usize) -> Vec<Option<usize>> {
        for row in 0..rows {
            let (end, length) = self.search(row);
            self.update_duals(row, length);
            self.augment(row, &end);
        }
        self.col_of_row
    }

    /// Dijkstra over reduced costs from `root` to the nearest end.
    fn search(&mut self, root: usize) -> (End, C) {
        self.open.clear();
        self.open.extend(0..self.cols);
        self.settled.clear();
        self.shortest.fill(None);
        let mut row = root;
        let mut length = C::ZERO;
        let mut leave_out = (root, self.leave[root] - self.row_dual[root]);
        loop {
            let by_leaving = length + self.leave[row] - self.row_dual[row];
            if by_leaving < leave_out.1 {
                leave_out = (row, by_leaving);
            }
            self.relax(row, length);
            let Some((at, col, next)) = self.nearest_open() else {
                return (End::LeaveOut(leave_out.0), leave_out.1);
            };
            if leave_out.1 < next {
                return (End::LeaveOut(leave_out.0), leave_out.1);
            }
            length = next;
            self.open.remove(at);
            self.settled.push(col);
            match self.row_of_col[col] {
                Some(holder) => row = holder,
                None => return (End::Free(col), length),
            }
        }
    }

    fn relax(&mut self, row: usize, length: C) {
        let costs = self.costs.get(row * self.cols..).unwrap_or(&[]);
        let base = length - self.row_dual[row];
        for &col in &self.open {
            let Some(cost) = costs.get(col).filter(|x| x.is_finite()) else {
                continue;
            };
            let reached = base + (self.cost_of)(*cost) - self.col_dual[col];
            if self.shortest[col].is_none_or(|before| reached < before) {
                self.shortest[col] = Some(reached);
                self.from_row[col] = row;
            }
        }
    }

    /// Position in `open`, column and path length of the nearest; of equals one that nobody holds, then the lowest.
    fn nearest_open(&self) -> Option<(usize, usize, C)> {
        let mut best: Option<(usize, usize, C)> = None;
        for (at, &col) in self.open.iter().enumerate() {
            let Some(length) = self.shortest[col] else {
                continue;
            };
            let better = best.is_none_or(|(_, other, least)| {
                length < least
                    || (length == least
                        && self.row_of_col[col].is_none()
                        && self.row_of_col[other].is_some())
            });
            if better {
                best = Some((at, col, length));
            }
        }
        best
    }

    /// Keeps all reduced costs at least zero, and zero along the path.
    fn update_duals(&mut self, root: usize, length: C) {
        self.row_dual[root] = self.row_dual[root] + length;
        for &col in &self.settled {
            let Some(shortest) = self.shortest[col] else {
                continue;
            };
            let gain = length - shortest;
            self.col_dual[col] = self.col_dual[col] - gain;
            if let Some(row) = self.row_of_col[col] {
                self.row_dual[row] = self.row_dual[row] + gain;
            }
        }
    }

    /// Moves every row along the path one column on.
    fn augment(&mut self, root: usize, end: &End) {
        let mut col = match *end {
            End::Free(col) => col,
            End::LeaveOut(row) => match self.col_of_row[row].take() {
                Some(col) => col,
                None => return,
            },
        };
        loop {
            let row = self.from_row[col];
            self.row_of_col[col] = Some(row);
            let before = self.col_of_row[row].replace(col);
            match before {
                Some(previous) if row != root => col = previous,
                _ => return,
            }
        }
    }
}
