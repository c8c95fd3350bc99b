//! Linear assignment against brute force, a library and published numbers.

use crate::common::reference;
use corymb_geometry::assign;
use corymb_geometry::assign::total_cost;
use pathfinding::prelude::{Matrix, kuhn_munkres_min};
use proptest::prelude::*;
use serde::Deserialize;

#[derive(Deserialize)]
struct Stored {
    tolerance: f64,
    problems: Vec<Problem>,
}

#[derive(Deserialize)]
struct Problem {
    kind: String,
    rows: usize,
    cols: usize,
    costs: Vec<f64>,
    columns: Vec<Option<usize>>,
    total: f64,
}

/// Every assignment of rows from `row` on, with the count of rows that had to be left out first.
fn brute_force(
    costs: &[f64],
    rows: usize,
    cols: usize,
    unassigned: &[f64],
    row: usize,
    used: &mut Vec<bool>,
) -> (usize, f64) {
    if row == rows {
        return (0, 0.0);
    }
    let rest = brute_force(costs, rows, cols, unassigned, row + 1, used);
    let mut best = match unassigned.get(row).filter(|x| x.is_finite()) {
        Some(cost) => (rest.0, rest.1 + cost),
        None => (rest.0 + 1, rest.1),
    };
    for col in 0..cols {
        let cost = costs[row * cols + col];
        if used[col] || !cost.is_finite() {
            continue;
        }
        used[col] = true;
        let rest = brute_force(costs, rows, cols, unassigned, row + 1, used);
        used[col] = false;
        let this = (rest.0, rest.1 + cost);
        if this.0 < best.0 || (this.0 == best.0 && this.1 < best.1) {
            best = this;
        }
    }
    best
}

fn check_valid(assignment: &[Option<usize>], costs: &[f64], rows: usize, cols: usize) {
    assert_eq!(assignment.len(), rows);
    let mut used = vec![false; cols];
    for (row, col) in assignment.iter().enumerate() {
        if let Some(col) = col {
            assert!(!used[*col] && costs[row * cols + col].is_finite());
            used[*col] = true;
        }
    }
}

/// The matrix of the SciPy documentation of `linear_sum_assignment`.
#[test]
fn documented_matrix() {
    let costs = [4.0, 1.0, 3.0, 2.0, 0.0, 5.0, 3.0, 2.0, 2.0];
    let got = assign(&costs, 3, 3, &[]);
    assert_eq!(got, [Some(1), Some(0), Some(2)]);
    assert_eq!(total_cost(&costs, 3, &[], &got), 5.0);
}

#[test]
fn agree_with_scipy() {
    let stored: Stored = reference("assignment.json");
    assert!(stored.problems.len() >= 30);
    for p in &stored.problems {
        let got = assign(&p.costs, p.rows, p.cols, &[]);
        check_valid(&got, &p.costs, p.rows, p.cols);
        let total = total_cost(&p.costs, p.cols, &[], &got);
        assert!(
            (total - p.total).abs() < stored.tolerance,
            "{} x {} {}: {total} {}",
            p.rows,
            p.cols,
            p.kind,
            p.total
        );
        if p.kind == "continuous" {
            assert_eq!(got, p.columns, "{} x {}", p.rows, p.cols);
        }
    }
}

#[test]
fn degenerate_sizes_and_costs() {
    assert!(assign(&[], 0, 0, &[]).is_empty());
    assert!(assign(&[], 0, 5, &[]).is_empty());
    assert_eq!(assign(&[], 3, 0, &[]), [None; 3]);
    // missing costs and those that are no number forbid the pair
    assert_eq!(assign(&[1.0, f64::NAN], 2, 1, &[]), [Some(0), None]);
    assert_eq!(assign(&[1.0], 2, 2, &[]), [Some(0), None]);
    assert_eq!(assign(&[f64::INFINITY; 4], 2, 2, &[]), [None; 2]);
    assert_eq!(assign(&[f64::NEG_INFINITY], 1, 1, &[1.0]), [None]);
    // a row that must be placed goes before any cost
    assert_eq!(
        assign(&[1.0, 1e12], 2, 1, &[1e9, f64::INFINITY]),
        [None, Some(0)]
    );
    // costs of very different size keep their digits beside it
    assert_eq!(
        assign(&[1e-9, 2e-9, 3e-9, 1e-9], 2, 2, &[]),
        [Some(0), Some(1)]
    );
}

#[test]
fn ties_go_to_the_pair_and_to_the_lower_column() {
    assert_eq!(assign(&[3.0], 1, 1, &[3.0]), [Some(0)]);
    assert_eq!(assign(&[2.0, 2.0, 2.0], 1, 3, &[]), [Some(0)]);
    assert_eq!(
        assign(&[1.0; 9], 3, 3, &[5.0; 3]),
        [Some(0), Some(1), Some(2)]
    );
}

fn problem() -> impl Strategy<Value = (usize, usize, Vec<f64>, Vec<f64>)> {
    let cost = prop_oneof![4 => -5.0..20.0f64, 2 => (-3i32..6).prop_map(f64::from), 1 => Just(f64::INFINITY)];
    (0usize..6, 0usize..6).prop_flat_map(move |(rows, cols)| {
        let leave = prop_oneof![
            Just(Vec::new()),
            prop::collection::vec(-2.0..15.0f64, rows),
            prop::collection::vec(prop_oneof![0.0..15.0f64, Just(f64::INFINITY)], rows),
        ];
        (
            Just(rows),
            Just(cols),
            prop::collection::vec(cost.clone(), rows * cols),
            leave,
        )
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn no_assignment_is_better((rows, cols, costs, unassigned) in problem()) {
        let got = assign(&costs, rows, cols, &unassigned);
        check_valid(&got, &costs, rows, cols);
        let forced = got.iter().enumerate()
            .filter(|(row, col)| col.is_none() && !unassigned.get(*row).is_some_and(|x| x.is_finite())).count();
        let best = brute_force(&costs, rows, cols, &unassigned, 0, &mut vec![false; cols]);
        prop_assert_eq!(forced, best.0);
        let total = total_cost(&costs, cols, &unassigned, &got);
        prop_assert!((total - best.1).abs() < 1e-9, "{} against {}", total, best.1);
    }

    #[test]
    fn agrees_with_the_library_on_whole_numbers(rows in 1usize..25, extra in 0usize..8, seed in prop::collection::vec(-50i64..200, 25 * 33)) {
        let cols = rows + extra;
        let costs: Vec<i64> = seed[..rows * cols].to_vec();
        let (total, _) = kuhn_munkres_min(&Matrix::from_vec(rows, cols, costs.clone()).unwrap());
        let costs: Vec<f64> = costs.iter().map(|c| *c as f64).collect();
        let got = assign(&costs, rows, cols, &[]);
        check_valid(&got, &costs, rows, cols);
        prop_assert_eq!(total_cost(&costs, cols, &[], &got), total as f64);
    }

    #[test]
    fn the_total_is_the_same_in_any_order_and_after_adding_to_a_row((rows, cols, costs, unassigned) in problem(), add in -5.0..5.0f64) {
        let total = |costs: &[f64], unassigned: &[f64]| total_cost(costs, cols, unassigned, &assign(costs, rows, cols, unassigned));
        let reversed_rows: Vec<f64> = (0..rows).rev().flat_map(|r| costs[r * cols..(r + 1) * cols].to_vec()).collect();
        let reversed_unassigned: Vec<f64> = unassigned.iter().rev().copied().collect();
        prop_assert!((total(&costs, &unassigned) - total(&reversed_rows, &reversed_unassigned)).abs() < 1e-9);
        if rows > 0 && unassigned.len() == rows && unassigned.iter().all(|x| x.is_finite()) {
            // a cost that a row has to pay in every case changes nothing but the total
            let (mut more, mut leave) = (costs.clone(), unassigned.clone());
            more[..cols].iter_mut().for_each(|c| *c += add);
            leave[0] += add;
            prop_assert!((total(&more, &leave) - total(&costs, &unassigned) - add).abs() < 1e-9);
        }
    }
}
