//! Who gets which box in one image: the pairs with the largest total gain, each side used once.
//!
//! Pairs without gain are never made, so the problem falls apart into the connected components of the pairs with
//! one, and each is a small dense assignment.

use corymb_geometry::assign;
use petgraph::unionfind::UnionFind;

/// A possible pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidate {
    /// One side.
    pub(super) row: usize,
    /// The other side.
    pub(super) column: usize,
    /// What the pair is worth over leaving both alone; pairs at 0 or below are left out.
    pub(super) gain: f64,
}

/// The best pairs, by row. Ties go to the smaller row and column.
pub(super) fn best_pairs(candidates: &[Candidate], rows: usize, columns: usize) -> Vec<Candidate> {
    let useful: Vec<Candidate> = candidates
        .iter()
        .copied()
        .filter(|c| c.gain > 0.0)
        .collect();
    let mut parts = UnionFind::<usize>::new(rows + columns);
    for c in &useful {
        parts.union(c.row, rows + c.column);
    }
    let mut keyed: Vec<(usize, Candidate)> =
        useful.into_iter().map(|c| (parts.find(c.row), c)).collect();
    keyed.sort_by(|(p, a), (q, b)| {
        p.cmp(q)
            .then(a.row.cmp(&b.row))
            .then(a.column.cmp(&b.column))
    });
    let mut out = Vec::new();
    for part in keyed.chunk_by(|a, b| a.0 == b.0) {
        if let [(_, only)] = part {
            out.push(*only);
        } else {
            solve_part(part, &mut out);
        }
    }
    out.sort_by_key(|c| (c.row, c.column));
    out
}

/// One connected component as a dense problem.
fn solve_part(part: &[(usize, Candidate)], out: &mut Vec<Candidate>) {
    let mut rows: Vec<usize> = part.iter().map(|(_, c)| c.row).collect();
    let mut columns: Vec<usize> = part.iter().map(|(_, c)| c.column).collect();
    rows.dedup();
    columns.sort_unstable();
    columns.dedup();
    let mut costs = vec![f64::INFINITY; rows.len() * columns.len()];
    for (_, c) in part {
        if let (Ok(r), Ok(k)) = (rows.binary_search(&c.row), columns.binary_search(&c.column)) {
            costs[r * columns.len() + k] = -c.gain;
        }
    }
    let taken = assign(&costs, rows.len(), columns.len(), &vec![0.0; rows.len()]);
    for (r, k) in taken.into_iter().enumerate() {
        if let Some(k) = k {
            let gain = -costs[r * columns.len() + k];
            out.push(Candidate {
                row: rows[r],
                column: columns[k],
                gain,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Candidate, best_pairs};
    use proptest::prelude::*;

    fn brute_force(rows: usize, columns: usize, gains: &[f64], row: usize, used: u32) -> f64 {
        if row == rows {
            return 0.0;
        }
        let mut best = brute_force(rows, columns, gains, row + 1, used);
        for column in (0..columns).filter(|c| used >> c & 1 == 0) {
            let gain = gains[row * columns + column];
            if gain > 0.0 {
                best =
                    best.max(gain + brute_force(rows, columns, gains, row + 1, used | 1 << column));
            }
        }
        best
    }

    proptest! {
        #[test]
        fn no_other_pairs_gain_more(gains in prop::collection::vec(-5.0..5.0f64, 20)) {
            let (rows, columns) = (4, 5);
            let all = gains.iter().enumerate();
            let candidates: Vec<Candidate> =
                all.map(|(k, &gain)| Candidate { row: k / columns, column: k % columns, gain }).collect();
            let pairs = best_pairs(&candidates, rows, columns);
            let total: f64 = pairs.iter().map(|p| p.gain).sum();
            prop_assert!((total - brute_force(rows, columns, &gains, 0, 0)).abs() < 1e-9);
            for (k, p) in pairs.iter().enumerate() {
                prop_assert!(pairs[..k].iter().all(|q| q.row != p.row && q.column != p.column));
            }
        }
    }
}
