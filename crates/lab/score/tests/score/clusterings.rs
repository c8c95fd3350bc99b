//! Agreement of clusterings, and intervals of shares, against general libraries.

use crate::stored::{Greatest, rows, stored};
use corymb_score::compare_partitions;
use corymb_score::figure::wilson;
use serde_json::Value;

fn numbers(value: &Value) -> Vec<usize> {
    let number = |v: &Value| v.as_u64().unwrap() as usize;
    rows(value).iter().map(number).collect()
}

/// scikit-learn (version in the file) on random clusterings. Where both clusterings are trivial it calls the adjusted
/// Rand index 1; here it is not defined.
#[test]
fn random_clusterings_score_as_in_scikit_learn() {
    let (file, tolerance) = stored("clusterings.json");
    let mut greatest = Greatest::default();
    for case in rows(&file["clusterings"]) {
        let (truth, claimed) = (numbers(&case["truth"]), numbers(&case["claimed"]));
        let things: Vec<(usize, usize)> = truth.into_iter().zip(claimed).collect();
        let ours = compare_partitions(&things);
        let rand = ours.adjusted_rand.value.or_else(|| {
            let distinct = |of: &dyn Fn(&(usize, usize)) -> usize| {
                things
                    .iter()
                    .map(of)
                    .collect::<std::collections::BTreeSet<_>>()
                    .len()
            };
            let (a, b) = (distinct(&|t| t.0), distinct(&|t| t.1));
            (a == b && (a == 1 || a == things.len())).then_some(1.0)
        });
        for (figure, value) in [
            ("adjusted_rand", rand),
            ("homogeneity", ours.homogeneity.value),
            ("completeness", ours.completeness.value),
            ("v_measure", ours.v_measure.value),
            ("pairwise_f1", ours.pairwise_f1.value),
        ] {
            greatest.compare(figure, value, &case[figure], tolerance);
        }
    }
    println!(
        "greatest difference {:e} of {}",
        greatest.difference, greatest.compared
    );
    assert!(greatest.compared >= 200);
}

/// SciPy (version in the file), to all digits; the published tables are in `figures.rs`.
#[test]
fn wilson_intervals_are_those_of_scipy() {
    let (file, tolerance) = stored("clusterings.json");
    let mut greatest = Greatest::default();
    for case in rows(&file["intervals"]) {
        let [num, den] = ["num", "den"].map(|k| case[k].as_u64().unwrap() as usize);
        let (low, high) = wilson(num, den).unwrap();
        greatest.compare("low", Some(low), &case["low"], tolerance);
        greatest.compare("high", Some(high), &case["high"], tolerance);
    }
    println!(
        "greatest difference {:e} of {}",
        greatest.difference, greatest.compared
    );
}
