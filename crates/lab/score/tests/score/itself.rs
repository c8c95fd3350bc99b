//! A truth that is handed in as the output scores 100 % everywhere.

use crate::orchard::{Scene, Spec, plain};
use corymb_score::{ScoreInput, render_table, score};
use corymb_simulate::{SceneSpec, simulate, truth_as_map};
use proptest::prelude::*;
use serde_json::Value;

/// Shares of what should not happen.
const SHOULD_BE_ZERO: [&str; 10] = [
    "no_axis",
    "unassigned",
    "all_gone",
    "too_few",
    "overloaded",
    "look_again",
    "removals_of_nothing",
    "touched",
    "cut_other",
    "hurt_kept",
];

/// Shares that ask for what the made-up deviations cannot tell, or for things that are not there.
const HITS: [&str; 2] = ["hits_limb", "hits_obstacle"];

/// Figures that are 1 where all is right.
const SHOULD_BE_ONE: [&str; 11] = [
    "f1",
    "det_a",
    "ass_a",
    "hota",
    "idf1",
    "pairwise_f1",
    "mota",
    "adjusted_rand",
    "homogeneity",
    "completeness",
    "v_measure",
];

/// Checks every figure below `value`; returns how many shares were defined.
fn check(path: &str, name: &str, value: &Value) -> Result<usize, String> {
    let fail = |what: &str| Err(format!("{path}: {what}: {value}"));
    match value {
        // held to the other parts in rows.rs
        _ if ["intervals", "rows"].contains(&name) => Ok(0),
        // the detector is not the map: held to its own truth in boxes.rs
        _ if ["detector", "tracking"].contains(&name) => Ok(0),
        Value::Object(fields) if fields.contains_key("den") => {
            let Some(share) = value["value"].as_f64() else {
                return if value["reason"].is_string() {
                    Ok(0)
                } else {
                    fail("undefined without a reason")
                };
            };
            let wanted = if SHOULD_BE_ZERO.contains(&name) || HITS.contains(&name) {
                0.0
            } else {
                1.0
            };
            // a statement of probability may be that something is not so
            let is_statement = name == "came_true";
            if share == wanted || is_statement {
                Ok(1)
            } else {
                fail("share")
            }
        }
        Value::Object(fields) if fields.contains_key("n") && fields.contains_key("value") => {
            match value["value"].as_f64() {
                None if value["reason"].is_string() => Ok(0),
                None => fail("undefined without a reason"),
                Some(v) if SHOULD_BE_ONE.contains(&name) && (v - 1.0).abs() > 1e-12 => {
                    fail("figure")
                }
                Some(v) if name.ends_with("_share") && v != 0.0 => fail("figure"),
                Some(_) => Ok(0),
            }
        }
        Value::Object(fields) => {
            if let Some(largest) = fields.get("max").and_then(Value::as_f64)
                && name.contains("error")
                && largest > 1e-6
            {
                return fail("error");
            }
            if fields
                .get("brier")
                .and_then(Value::as_f64)
                .is_some_and(|b| b != 0.0)
            {
                return fail("reliability");
            }
            fields
                .iter()
                .map(|(k, v)| check(&format!("{path}/{k}"), k, v))
                .sum()
        }
        Value::Array(items) => items.iter().map(|v| check(path, name, v)).sum(),
        _ => Ok(0),
    }
}

fn spec() -> impl Strategy<Value = Spec> {
    (
        0.014..0.024,
        prop::collection::vec(prop::bool::weighted(0.7), 4),
    )
        .prop_map(|(diameter_m, seen)| Spec { diameter_m, seen })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn truth_scores_all_of_itself(
        trees in prop::collection::vec(prop::collection::vec(prop::collection::vec(spec(), 1..5), 1..5), 1..4),
        false_boxes in 0usize..3,
        keep in 1usize..3,
    ) {
        let mut scene = Scene::new(&trees, false_boxes);
        scene.thin_again(keep);
        let scores = scene.score();
        // decisions, orders and counts go by all fruit of the map; truth does not expect that which was seen once
        let all_expected = scores.truth.seen_once == 0;
        let mut value = serde_json::to_value(&scores).unwrap();
        if !all_expected {
            for part in ["absolute", "shift_removed"] {
                for stage in ["decisions", "orders"] {
                    value[part][stage] = Value::Null;
                }
                value[part]["trees"]["count_error_share"] = Value::Null;
                value[part]["calibration"]["decision"] = Value::Null;
                value[part]["calibration"]["order_success"] = Value::Null;
            }
        }
        if scores.truth.never_seen > 0 {
            value["counts"] = Value::Null; // all fruit is counted, seen or not
        }
        if let Err(wrong) = check("", "", &value) {
            return Err(TestCaseError::fail(wrong));
        }
        prop_assert_eq!(scores.truth.objects, scene.truth.fruitlets.len());
    }
}

/// A simulated scene with occlusion, misses, false and duplicate boxes; its truth as a map.
#[test]
fn a_simulated_truth_scores_all_of_itself() {
    let simulated = simulate(&SceneSpec::close(), 3).unwrap();
    let map = truth_as_map(&simulated);
    let input = ScoreInput {
        run: &simulated.run,
        truth: &simulated.truth,
        map: Some(&map),
        decisions: None,
        tasks: None,
        policy: None,
        setup: None,
        true_orchard: Some(&simulated.true_orchard),
    };
    let scores = score(&input);
    assert!(scores.truth.considered > 50);
    let mut value = serde_json::to_value(&scores).unwrap();
    for part in ["absolute", "shift_removed"] {
        value[part]["trees"]["count_error_share"] = Value::Null; // the map lists what was seen once as well
    }
    value["counts"] = Value::Null; // and not what was never seen
    let defined = check("", "", &value).unwrap();
    assert!(defined >= 50, "only {defined} shares are defined");
}

#[test]
fn a_whole_scene_defines_nearly_every_share() {
    let scene = Scene::new(&vec![vec![vec![plain(3); 3]; 3]; 2], 1);
    let value = serde_json::to_value(scene.score()).unwrap();
    let defined = check("", "", &value).unwrap();
    assert!(defined >= 80, "only {defined} shares are defined");
    assert_eq!(value["absolute"]["orders"]["good"]["num"], 12);
    assert_eq!(value["absolute"]["orders"]["clusters_right"]["num"], 6);
    assert_eq!(value["absolute"]["decisions"]["king_kept"]["num"], 6);
    assert_eq!(value["common_shift"]["identified_error_mm"]["n"], 18);
}

#[test]
fn the_score_is_the_same_bytes_each_time() {
    let scene = Scene::new(&vec![vec![vec![plain(3); 4]; 4]; 3], 2);
    let bytes = || serde_json::to_string(&scene.score()).unwrap();
    assert_eq!(bytes(), bytes());
    let keys: Vec<String> = serde_json::to_value(scene.score())
        .unwrap()
        .as_object()
        .unwrap()
        .keys()
        .cloned()
        .collect();
    assert_eq!(
        keys,
        [
            "truth",
            "detector",
            "association",
            "by_identity",
            "tracking",
            "absolute",
            "common_shift",
            "shift_removed",
            "counts",
            "intervals",
            "rows"
        ]
    );
}

#[test]
fn the_table_shows_each_stage_with_its_counts() {
    let table = render_table(&Scene::new(&vec![vec![vec![plain(3); 3]; 2]; 2], 1).score());
    for line in [
        "FRUITLETS",
        &format!("  {:44}100.0 %  12/12  [75.8, 100.0]", "precision"),
        "CLUSTERS",
        "DECISIONS",
        "ORDERS",
        "  places: tree-1",
    ] {
        assert!(table.contains(line), "no {line:?} in\n{table}");
    }
    assert!(table.lines().all(|l| l.len() < 200));
}

#[test]
fn without_outputs_the_score_says_what_is_absent() {
    let scene = Scene::new(&[vec![vec![plain(3); 3]]], 0);
    let nothing = ScoreInput {
        map: None,
        ..scene.input()
    };
    let value = serde_json::to_value(score(&nothing)).unwrap();
    assert_eq!(value["absolute"]["absent_because"], "no map was given");
    assert_eq!(value["truth"]["considered"], 3);
    assert!(render_table(&score(&nothing)).contains("no map was given"));

    let map_only = ScoreInput {
        decisions: None,
        tasks: None,
        ..scene.input()
    };
    let value = serde_json::to_value(score(&map_only)).unwrap();
    assert_eq!(
        value["absolute"]["decisions"]["absent_because"],
        "no decisions were given"
    );
    assert_eq!(
        value["absolute"]["orders"]["absent_because"],
        "no task list was given"
    );
    // three fruit are too few to tell a common shift from
    assert!(
        value["shift_removed"]["absent_because"]
            .as_str()
            .unwrap()
            .contains("5 are needed")
    );

    let no_policy = ScoreInput {
        policy: None,
        ..scene.input()
    };
    let value = serde_json::to_value(score(&no_policy)).unwrap();
    assert_eq!(
        value["absolute"]["decisions"]["absent_because"],
        "no policy was given"
    );
    assert_eq!(
        value["absolute"]["orders"]["clusters_right"]["reason"],
        "no policy was given"
    );
    assert_eq!(value["absolute"]["orders"]["good"]["num"], 2);
}

#[test]
fn an_empty_truth_and_an_empty_map_are_no_reason_to_fail() {
    let scene = Scene::new(&[], 0);
    let value = serde_json::to_value(scene.score()).unwrap();
    assert_eq!(
        value["absolute"]["absent_because"],
        "the truth states no places"
    );
    assert_eq!(check("", "", &value), Ok(0));
}
