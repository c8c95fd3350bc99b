//! `corymb score --figures`: the files appear, and what they show is what the scores say.

use super::{desk, files, json, typed};
use std::collections::BTreeMap;

const RUN: &str = "corymb run fixtures/two_trees --out out";
const SCORE: &str = "corymb score fixtures/two_trees out --truth fixtures/two_trees/truth.json.gz \
                     --json --figures drawn";

const CHARTS: [&str; 13] = [
    "axis_errors.svg",
    "cluster_sizes.svg",
    "diameters.svg",
    "error_by_pixel_area.svg",
    "error_by_views.svg",
    "reliability_decision.svg",
    "reliability_existence.svg",
    "reliability_king.svg",
    "reliability_membership.svg",
    "reliability_order_success.svg",
    "reliability_tree.svg",
    "residuals_by_edge.svg",
    "residuals_by_radius.svg",
];
const TABLES: [&str; 3] = ["clusters.csv", "fruitlets.csv", "residuals.csv"];

/// The rows of a table, each by the names of its head.
fn rows(bytes: &[u8]) -> Vec<BTreeMap<String, String>> {
    let text = std::str::from_utf8(bytes).unwrap();
    let mut lines = text.lines().map(|l| l.split(',').map(str::to_owned));
    let head: Vec<String> = lines.next().unwrap().collect();
    lines
        .map(|cells| {
            let cells: Vec<String> = cells.collect();
            assert_eq!(cells.len(), head.len());
            head.iter().cloned().zip(cells).collect()
        })
        .collect()
}

#[test]
fn figures_are_drawn_from_the_scores() {
    let desk = desk();
    assert_eq!(typed(desk.path(), RUN).code, Some(0));
    let said = typed(desk.path(), SCORE);
    assert_eq!(said.code, Some(0), "{said:?}");
    let found = files(&desk.path().join("drawn")).unwrap();
    let names: Vec<&str> = found.keys().map(String::as_str).collect();
    let mut expected = [CHARTS.as_slice(), &TABLES].concat();
    expected.sort_unstable();
    assert_eq!(names, expected);

    let scores = json(said.stdout.as_bytes());
    let figures = &scores["shift_removed"];
    let fruitlets = rows(&found["fruitlets.csv"]);
    let count = |outcome: &str| fruitlets.iter().filter(|r| r["outcome"] == outcome).count();
    for (outcome, field) in [
        ("right", "right"),
        ("false", "false_ones"),
        ("missed", "missed"),
        ("not_considered", "not_considered"),
    ] {
        assert_eq!(figures["fruitlets"][field], count(outcome), "{outcome}");
    }
    assert!(count("right") > 20, "{}", count("right"));
    let largest = (fruitlets.iter().filter(|r| r["outcome"] == "right"))
        .map(|r| r["error_mm"].parse::<f64>().unwrap())
        .fold(0.0, f64::max);
    assert_eq!(figures["fruitlets"]["position_error_mm"]["max"], largest);
    assert_eq!(
        scores["truth"]["clusters_considered"],
        rows(&found["clusters.csv"]).len()
    );
    assert!(rows(&found["residuals.csv"]).len() > 10 * count("right") / 2);

    let text = |name: &str| String::from_utf8(found[name].clone()).unwrap();
    let existence = &figures["calibration"]["existence"];
    let brier = existence["brier"].as_f64().unwrap();
    let words = format!("n {}, Brier score {brier:.3}", existence["n"]);
    assert!(
        text("reliability_existence.svg").contains(&words),
        "{words}"
    );
    let within = &figures["orientation"]["within_30_deg"];
    let words = format!("{} of {}", within["num"], within["den"]);
    assert!(text("axis_errors.svg").contains(&words), "{words}");
    let undecided = text("reliability_decision.svg");
    assert!(undecided.contains("Nothing to draw: no decisions were given."));
}

#[test]
fn figures_repeat_and_leave_other_files_alone() {
    let desk = desk();
    assert_eq!(typed(desk.path(), RUN).code, Some(0));
    assert_eq!(typed(desk.path(), SCORE).code, Some(0));
    let drawn = desk.path().join("drawn");
    let first = files(&drawn).unwrap();
    std::fs::write(drawn.join("notes.txt"), "mine").unwrap();
    assert_eq!(typed(desk.path(), SCORE).code, Some(0));
    let mut second = files(&drawn).unwrap();
    assert_eq!(
        second.remove("notes.txt").as_deref(),
        Some(b"mine".as_slice())
    );
    assert!(first == second);
}
