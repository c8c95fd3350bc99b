//! The score of a frozen case with errors of every kind against the stored figures of an independent scorer.

use crate::typed;
use corymb_tests::workspace;
use serde_json::Value;

/// A figure by its path; of a figure with a count of cases, its value.
fn figure<'a>(scores: &'a Value, path: &str) -> &'a Value {
    path.split('.').fold(scores, |value, key| &value[key])
}

fn value(figure: &Value) -> Option<f64> {
    figure.as_f64().or_else(|| figure["value"].as_f64())
}

#[test]
fn an_independent_scorer_finds_the_same_figures() {
    let folder = workspace().join("fixtures/reference/second_scorer");
    let line =
        "corymb score run out --truth truth.json.gz --policy policy.toml --arm arm.toml --json";
    let said = typed(&folder, line);
    assert_eq!(said.code, Some(0), "{}", said.stderr);
    let ours: Value = serde_json::from_str(&said.stdout).unwrap();
    let stored = std::fs::read_to_string(folder.join("scores.json")).unwrap();
    let stored: Value = serde_json::from_str(&stored).unwrap();
    let ends = stored["tolerance_of_interval_ends"].as_f64().unwrap();
    let (mut compared, mut greatest) = (0, 0.0_f64);
    for row in stored["figures"].as_array().unwrap() {
        let (path, tolerance) = (
            row["ours"].as_str().unwrap(),
            row["tolerance"].as_f64().unwrap(),
        );
        let (ours, theirs) = (figure(&ours, path), &row["value"]);
        let parts = match theirs.get("num") {
            Some(_) => vec![
                ("num", 0.0),
                ("den", 0.0),
                ("value", tolerance),
                ("low", ends),
                ("high", ends),
            ],
            None => vec![("", tolerance)],
        };
        for (part, tolerance) in parts {
            let of = |f: &Value| {
                if part.is_empty() {
                    value(f)
                } else {
                    f[part].as_f64()
                }
            };
            let (a, b) = (of(ours).unwrap(), of(theirs).unwrap());
            assert!(
                (a - b).abs() <= tolerance,
                "{path} {part}: {a}, elsewhere {b}"
            );
            compared += 1;
            if tolerance <= 1e-9 {
                greatest = greatest.max((a - b).abs());
            }
        }
    }
    println!("{compared} figures compared, greatest difference {greatest:e}");
    assert!(compared > 350, "{compared}");
}
