//! Single figures against published and computed values.

use approx::assert_abs_diff_eq;
use corymb_score::figure::{Figure, Reliability, Share, Spread, quantile, wilson};
use corymb_score::{PartitionScores, compare_partitions};
use proptest::prelude::*;

/// 15/148 and 81/263 are the examples of R. G. Newcombe, "Two-sided confidence intervals for the single proportion:
/// comparison of seven methods", Statistics in Medicine 17 (1998), table I, method 3; the others were computed from
/// Wilson's formula with scipy 1.17.1 (`binomtest(k, n).proportion_ci(method="wilson")`). All printed to four digits.
#[test]
fn wilson_intervals_are_those_of_the_tables() {
    let table = [
        (0, 10, 0.0, 0.2775),
        (5, 10, 0.2366, 0.7634),
        (9, 10, 0.5958, 0.9821),
        (10, 10, 0.7225, 1.0),
        (45, 50, 0.7864, 0.9565),
        (80, 100, 0.7112, 0.8666),
        (15, 148, 0.0624, 0.1605),
        (81, 263, 0.2553, 0.3662),
    ];
    for (num, den, low, high) in table {
        let (l, h) = wilson(num, den).unwrap();
        assert_abs_diff_eq!(l, low, epsilon = 5e-5);
        assert_abs_diff_eq!(h, high, epsilon = 5e-5);
    }
}

proptest! {
    /// The ends of the interval are the two proportions whose normal test just accepts the observation.
    #[test]
    fn wilson_ends_solve_wilsons_equation(den in 1usize..2000, share in 0.0..=1.0_f64) {
        let num = (share * den as f64).floor() as usize;
        let (low, high) = wilson(num, den).unwrap();
        let p = num as f64 / den as f64;
        prop_assert!(0.0 <= low && low <= p && p <= high && high <= 1.0);
        let z2 = 1.959_963_984_540_054_f64.powi(2);
        for end in [low, high] {
            let residual = (p - end).powi(2) - z2 * end * (1.0 - end) / den as f64;
            prop_assert!(residual.abs() < 1e-12, "{num}/{den}: {end} leaves {residual}");
        }
    }

    #[test]
    fn quantiles_lie_between_their_neighbours(mut values in prop::collection::vec(-1e3..1e3_f64, 1..40), q in 0.0..=1.0_f64) {
        values.sort_by(f64::total_cmp);
        let at = quantile(&values, q).unwrap();
        let below = values.iter().filter(|&&v| v < at - 1e-9).count() as f64;
        let above = values.iter().filter(|&&v| v > at + 1e-9).count() as f64;
        prop_assert!(below <= q * (values.len() - 1) as f64 + 1.0);
        prop_assert!(above <= (1.0 - q) * (values.len() - 1) as f64 + 1.0);
    }
}

/// numpy 2.4.6, `numpy.percentile([1, 2, 4, 8, 16], [50, 90, 95])` (method "linear").
#[test]
fn quantiles_are_those_of_numpy() {
    let spread = Spread::of(vec![16.0, 1.0, 8.0, 2.0, 4.0], "");
    assert_eq!(spread.median, Some(4.0));
    assert_abs_diff_eq!(spread.p90.unwrap(), 12.8, epsilon = 1e-12);
    assert_abs_diff_eq!(spread.p95.unwrap(), 14.4, epsilon = 1e-12);
    assert_eq!(spread.mean, Some(6.2));
    assert_eq!(spread.max, Some(16.0));
}

#[test]
fn what_is_not_defined_is_null_and_says_why() {
    let share = serde_json::to_string(&Share::new(0, 0, "nobody came")).unwrap();
    assert_eq!(
        share,
        r#"{"num":0,"den":0,"value":null,"low":null,"high":null,"reason":"nobody came"}"#
    );
    let figure = serde_json::to_string(&Figure::new(Some(f64::NAN), 3, "no number")).unwrap();
    assert_eq!(figure, r#"{"value":null,"n":3,"reason":"no number"}"#);
    assert_eq!(
        Spread::of(Vec::new(), "nothing").reason.as_deref(),
        Some("nothing")
    );
    assert_eq!(Reliability::of(&[], "nothing").brier, None);
    let defined = serde_json::to_string(&Share::new(1, 2, "")).unwrap();
    assert!(defined.starts_with(r#"{"num":1,"den":2,"value":0.5,"#) && !defined.contains("reason"));
}

/// Worked by hand: (0.2^2 + 0.8^2 + 0.1^2 + 0) / 4 and |0.15 - 0| x 2/4 + |0.8 - 0| x 1/4 + |1 - 1| x 1/4.
#[test]
fn reliability_by_hand() {
    let table = Reliability::of(&[(0.2, false), (0.8, false), (0.1, false), (1.0, true)], "");
    assert_abs_diff_eq!(table.brier.unwrap(), 0.69 / 4.0, epsilon = 1e-12);
    assert_abs_diff_eq!(
        table.calibration_error.unwrap(),
        (0.2 + 0.8 + 0.1) / 4.0,
        epsilon = 1e-12
    );
    let bins: Vec<(f64, usize)> = table
        .bins
        .iter()
        .map(|b| (b.from, b.came_true.den))
        .collect();
    assert_eq!(bins, [(0.1, 1), (0.2, 1), (0.8, 1), (0.9, 1)]);
    assert_eq!((table.came_true.num, table.came_true.den), (1, 4));
}

fn of_labels(truth: &str, predicted: &str) -> PartitionScores {
    let digits = |s: &str| {
        s.chars()
            .map(|c| c.to_digit(10).unwrap() as usize)
            .collect::<Vec<_>>()
    };
    compare_partitions(
        &digits(truth)
            .into_iter()
            .zip(digits(predicted))
            .collect::<Vec<_>>(),
    )
}

/// scikit-learn 1.9.1: `adjusted_rand_score`, `homogeneity_completeness_v_measure` (true labels first), to four digits.
#[test]
fn clusterings_score_as_in_scikit_learn() {
    let table = [
        ("0011", "0011", 1.0, 1.0, 1.0, 1.0),
        ("0011", "1100", 1.0, 1.0, 1.0, 1.0),
        ("0012", "0011", 0.5714, 0.6667, 1.0, 0.8),
        ("0011", "0012", 0.5714, 1.0, 0.6667, 0.8),
        ("0000", "0123", 0.0, 1.0, 0.0, 0.0),
        ("0011", "0101", -0.5, 0.0, 0.0, 0.0),
        ("000111", "001122", 0.2424, 0.6667, 0.4206, 0.5158),
    ];
    for (truth, predicted, rand, homogeneity, completeness, v) in table {
        let scores = of_labels(truth, predicted);
        assert_abs_diff_eq!(scores.adjusted_rand.value.unwrap(), rand, epsilon = 5e-5);
        assert_abs_diff_eq!(
            scores.homogeneity.value.unwrap(),
            homogeneity,
            epsilon = 5e-5
        );
        assert_abs_diff_eq!(
            scores.completeness.value.unwrap(),
            completeness,
            epsilon = 5e-5
        );
        assert_abs_diff_eq!(scores.v_measure.value.unwrap(), v, epsilon = 5e-5);
    }
}

#[test]
fn trivial_clusterings_have_no_adjusted_rand() {
    assert_eq!(of_labels("0123", "3210").adjusted_rand.value, None);
    assert_eq!(of_labels("0000", "1111").adjusted_rand.value, None);
    assert_eq!(of_labels("", "").v_measure.value, None);
}

proptest! {
    /// Pairwise F1 and the adjusted Rand index against a count over all pairs.
    #[test]
    fn partitions_against_all_pairs(things in prop::collection::vec((0usize..4, 0usize..4), 2..20)) {
        let scores = compare_partitions(&things);
        let (mut tp, mut fp, mut fn_, mut tn) = (0.0, 0.0, 0.0, 0.0);
        for (i, a) in things.iter().enumerate() {
            for b in &things[..i] {
                match (a.0 == b.0, a.1 == b.1) {
                    (true, true) => tp += 1.0,
                    (false, true) => fp += 1.0,
                    (true, false) => fn_ += 1.0,
                    (false, false) => tn += 1.0,
                }
            }
        }
        match scores.pairwise_f1.value {
            Some(f1) => prop_assert!((f1 - 2.0 * tp / (2.0 * tp + fp + fn_)).abs() < 1e-12),
            None => prop_assert_eq!(tp + fp + fn_, 0.0),
        }
        // the form of the index in pair counts (Steinley 2004, eq. 5)
        let below = (tp + fn_) * (fn_ + tn) + (tp + fp) * (fp + tn);
        match scores.adjusted_rand.value {
            Some(rand) => prop_assert!((rand - 2.0 * (tp * tn - fn_ * fp) / below).abs() < 1e-9),
            None => prop_assert_eq!(below, 0.0),
        }
    }

    #[test]
    fn partition_scores_do_not_depend_on_names(things in prop::collection::vec((0usize..5, 0usize..5), 1..20)) {
        let renamed: Vec<(usize, usize)> = things.iter().map(|&(a, b)| (7 - a, 3 * b + 1)).collect();
        let (one, other) = (compare_partitions(&things), compare_partitions(&renamed));
        prop_assert_eq!(one.adjusted_rand, other.adjusted_rand);
        prop_assert!((one.v_measure.value.unwrap() - other.v_measure.value.unwrap()).abs() < 1e-12);
    }
}
