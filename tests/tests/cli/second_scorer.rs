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

/// Limbs that are elsewhere than the run's file says count where they truly are.
#[test]
fn orders_meet_the_limbs_of_the_true_orchard() {
    let folder = workspace().join("fixtures/reference/second_scorer");
    let aside = tempfile::TempDir::new().unwrap();
    let line =
        "corymb score run out --truth truth.json.gz --policy policy.toml --arm arm.toml --json";
    let with = |orchard: &Value| {
        let path = aside.path().join("orchard.json");
        std::fs::write(&path, orchard.to_string()).unwrap();
        typed(
            &folder,
            &format!("{line} --true-orchard {}", path.display()),
        )
    };
    let text = std::fs::read_to_string(folder.join("run/orchard.json")).unwrap();
    let mut orchard: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(with(&orchard).stdout, typed(&folder, line).stdout);
    for radius in orchard["trees"][0]["limbs"][0]["radii_mm"]
        .as_array_mut()
        .unwrap()
    {
        *radius = Value::from(400.0);
    }
    let said = with(&orchard);
    assert_eq!(said.code, Some(0), "{}", said.stderr);
    let scores: Value = serde_json::from_str(&said.stdout).unwrap();
    assert!(
        scores["absolute"]["orders"]["hits_limb"]["num"]
            .as_u64()
            .unwrap()
            > 0
    );
    orchard["trees"][0]["limbs"][0]["radii_mm"][0] = Value::from(-1.0);
    assert_eq!(with(&orchard).code, Some(2));
}
