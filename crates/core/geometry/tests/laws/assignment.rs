//! Linear assignment against brute force, a library and published numbers.

use corymb_geometry::assign;
use corymb_geometry::assign::total_cost;
use proptest::prelude::*;

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
}
