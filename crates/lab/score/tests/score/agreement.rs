//! Association of boxes against the values of the tracking literature's reference evaluators.

use approx::assert_abs_diff_eq;
use corymb_score::{BoxAssociation, box_association};
use proptest::prelude::*;

fn of(truth: &[i32], claims: &[i32]) -> BoxAssociation {
    let name = |k: &i32| usize::try_from(*k).ok();
    let boxes: Vec<_> = truth
        .iter()
        .map(name)
        .zip(claims.iter().map(name))
        .collect();
    box_association(&boxes)
}

/// HOTA, DetA, AssA, MOTA and IDF1 of these toys were computed with the reference evaluators (HOTA: the authors' code;
/// MOTA and IDF1: py-motmetrics 1.4.0), to five digits. A claim that overlaps no true box stands here as a box without
/// a true identity.
#[test]
fn toys_score_as_in_the_reference_evaluators() {
    let one_object_changes_name = of(&[0; 6], &[0, 0, 0, 1, 1, 1]);
    let root_half = std::f64::consts::FRAC_1_SQRT_2; // printed as 0.70711
    assert_all(
        &one_object_changes_name,
        [root_half, 1.0, 0.5, 0.83333, 0.5],
    );
    let two_swap_halfway = of(&[0, 1, 0, 1, 0, 1, 0, 1], &[0, 1, 0, 1, 1, 0, 1, 0]);
    assert_all(&two_swap_halfway, [0.57735, 1.0, 1.0 / 3.0, 0.75, 0.5]);
    assert_eq!(two_swap_halfway.identity_switches, 2);
    let one_miss_one_false = of(&[0, 0, 0, 0, -1], &[0, 0, -1, 0, 1]);
    assert_all(&one_miss_one_false, [0.67082, 0.6, 0.75, 0.5, 0.75]);
}

fn assert_all(got: &BoxAssociation, [hota, det_a, ass_a, mota, idf1]: [f64; 5]) {
    for (figure, expected) in [
        (&got.hota, hota),
        (&got.det_a, det_a),
        (&got.ass_a, ass_a),
        (&got.mota, mota),
        (&got.idf1, idf1),
    ] {
        assert_abs_diff_eq!(figure.value.unwrap(), expected, epsilon = 5e-6);
    }
}

#[test]
fn nothing_claimed_is_zero_and_nothing_at_all_is_undefined() {
    let silent = of(&[0, 0], &[-1, -1]);
    assert_eq!(silent.hota.value, Some(0.0));
    assert_eq!(silent.idf1.value, Some(0.0));
    assert_eq!(silent.mota.value, Some(0.0));
    assert_eq!(silent.ass_a.value, None);
    let nothing = of(&[], &[]);
    assert_eq!(nothing.hota.value, None);
    assert!(nothing.hota.reason.is_some());
}

/// The best one-to-one map between identities by trying all of them.
fn best_by_trying(counts: &[[usize; 4]; 4], row: usize, used: &mut [bool; 4]) -> usize {
    if row == 4 {
        return 0;
    }
    let mut best = best_by_trying(counts, row + 1, used);
    for column in 0..4 {
        if !used[column] {
            used[column] = true;
            best = best.max(counts[row][column] + best_by_trying(counts, row + 1, used));
            used[column] = false;
        }
    }
    best
}

proptest! {
    #[test]
    fn figures_against_their_definitions(boxes in prop::collection::vec((-1i32..4, -1i32..4), 1..30)) {
        let (truth, claims): (Vec<i32>, Vec<i32>) = boxes.iter().copied().unzip();
        let got = of(&truth, &claims);
        let mut counts = [[0; 4]; 4];
        for &(g, p) in boxes.iter().filter(|b| b.0 >= 0 && b.1 >= 0) {
            counts[g as usize][p as usize] += 1;
        }
        let all = boxes.iter().filter(|b| b.0 >= 0).count() + boxes.iter().filter(|b| b.1 >= 0).count();
        if all > 0 {
            let idf1 = 2.0 * best_by_trying(&counts, 0, &mut [false; 4]) as f64 / all as f64;
            prop_assert!((got.idf1.value.unwrap() - idf1).abs() < 1e-12);
        }
        // AssA box by box: eq. 2 of Luiten et al.
        let right: Vec<_> = boxes.iter().filter(|b| b.0 >= 0 && b.1 >= 0).collect();
        let score = |c: &(i32, i32)| {
            let tpa = right.iter().filter(|b| **b == c).count();
            let any = boxes.iter().filter(|b| b.0 == c.0 || b.1 == c.1).count();
            tpa as f64 / any as f64
        };
        if let Some(ass_a) = got.ass_a.value {
            let mean = right.iter().map(|b| score(b)).sum::<f64>() / right.len() as f64;
            prop_assert!((ass_a - mean).abs() < 1e-12);
        }
    }

    #[test]
    fn a_renaming_is_perfect(truth in prop::collection::vec(0i32..6, 1..40)) {
        let claims: Vec<i32> = truth.iter().map(|g| 11 - g).collect();
        let got = of(&truth, &claims);
        for figure in [&got.hota, &got.det_a, &got.ass_a, &got.idf1, &got.mota] {
            prop_assert!((figure.value.unwrap() - 1.0).abs() < 1e-12);
        }
    }
}
