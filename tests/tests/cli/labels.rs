//! Truth as people have it, end to end: the shipped run scored by labels, by boxes, by counts, by a part of each.

use crate::{desk, json, typed};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use tempfile::TempDir;

/// A scored desk: the shipped run, its map, and its whole truth.
struct Bench {
    desk: TempDir,
    truth: Value,
    /// Frame id -> boxes of the detector.
    detections: BTreeMap<String, Vec<Value>>,
}

impl Bench {
    fn new() -> Self {
        let desk = desk();
        let run = typed(desk.path(), "corymb run fixtures/two_trees --out out");
        assert_eq!(run.code, Some(0), "{run:?}");
        let unpacked = |name: &str| {
            let bytes = std::fs::read(desk.path().join("fixtures/two_trees").join(name)).unwrap();
            let mut text = String::new();
            std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(&bytes[..]), &mut text)
                .unwrap();
            text
        };
        let frame = |line: &str| {
            let frame = json(line.as_bytes());
            let id = frame["frame"].as_str().unwrap().to_owned();
            (id, frame["detections"].as_array().unwrap().clone())
        };
        Self {
            truth: json(unpacked("truth.json.gz").as_bytes()),
            detections: unpacked("frames.jsonl.gz").lines().map(frame).collect(),
            desk,
        }
    }

    fn path(&self) -> &Path {
        self.desk.path()
    }

    /// The score by some truth.
    fn score(&self, truth: &Value) -> Value {
        std::fs::write(self.path().join("some.json"), truth.to_string()).unwrap();
        let said = typed(
            self.path(),
            "corymb score fixtures/two_trees out --truth some.json --json",
        );
        assert_eq!(said.code, Some(0), "{said:?}");
        json(said.stdout.as_bytes())
    }

    /// The detector's own boxes with what they show, as a labeller would have drawn them, of the frames `wanted`.
    fn boxes(&self, wanted: impl Fn(usize) -> bool) -> Value {
        let mut boxes = Map::new();
        for (n, (frame, labels)) in self.truth["detections"]
            .as_object()
            .unwrap()
            .iter()
            .enumerate()
        {
            if !wanted(n) {
                continue;
            }
            let both = self.detections[frame]
                .iter()
                .zip(labels.as_array().unwrap());
            let shown = both.filter(|(_, label)| !label.is_null()).map(
                |(d, label)| json!({"class": d["class"], "object": label, "box_px": d["box_px"]}),
            );
            boxes.insert(frame.clone(), shown.collect());
        }
        Value::Object(boxes)
    }

    /// The objects of the truth by name alone.
    fn objects(&self) -> Value {
        let name = |f: &Value| json!({"id": f["id"], "tree": f["tree"], "cluster": f["cluster"]});
        self.truth["fruitlets"]
            .as_array()
            .unwrap()
            .iter()
            .map(name)
            .collect()
    }
}

fn because(scores: &Value, part: &str) -> String {
    let because = &scores[part]["absent_because"];
    because.as_str().unwrap_or_default().to_owned()
}

#[test]
fn a_run_is_scored_by_whatever_truth_there_is() {
    let bench = Bench::new();
    let whole = bench.score(&bench.truth);
    let recall = &whole["by_identity"]["recall"];
    assert!(recall["value"].as_f64().unwrap() > 0.7, "{recall}");

    // labelled boxes with identities, trees and clusters, and no place: what goes by identity is the same to the last digit
    let labelled =
        json!({"version": 1, "objects": bench.objects(), "boxes": bench.boxes(|_| true)});
    let by_boxes = bench.score(&labelled);
    for part in ["association", "by_identity", "counts"] {
        assert_eq!(by_boxes[part], whole[part], "{part}");
    }
    for part in ["absolute", "shift_removed", "rows"] {
        assert_eq!(because(&by_boxes, part), "the truth states no places");
    }
    assert!(by_boxes["detector"]["bodies"]["recall"]["value"].is_number());
    assert!(by_boxes["tracking"]["hota_by_overlap"]["value"].is_number());

    // the same with places: what goes by place is the same, too
    let mut placed = labelled.clone();
    placed["fruitlets"] = bench.truth["fruitlets"].clone();
    placed.as_object_mut().unwrap().remove("objects");
    let placed = bench.score(&placed);
    for part in [
        "association",
        "by_identity",
        "absolute",
        "shift_removed",
        "rows",
        "counts",
    ] {
        assert_eq!(placed[part], whole[part], "{part}");
    }

    // names as they come, every second image
    let some = bench.score(&json!({"version": 1, "boxes": bench.boxes(|n| n % 2 == 0)}));
    let of = |scores: &Value, field: &str| scores["by_identity"][field].as_u64().unwrap();
    assert_eq!(some["truth"]["images_without_labels"], 20);
    assert!(of(&some, "right") > 100 && of(&some, "right") < of(&whole, "right"));
    assert!(of(&some, "not_labelled") + of(&some, "not_considered") > 0);
    assert_eq!(some["by_identity"]["clusters_exact"]["value"], Value::Null);
    assert!(because(&some, "counts").contains("too little else"));
}

#[test]
fn left_out_images_are_images_without_labels() {
    let bench = Bench::new();
    let frames: Vec<&String> = bench.detections.keys().collect();
    let mut all_left_out = bench.truth.clone();
    let mut removed = bench.truth.clone();
    for frame in frames.iter().skip(30) {
        all_left_out["left_out"][frame.as_str()] = json!([[0, 0, 100_000, 100_000]]);
        removed["detections"]
            .as_object_mut()
            .unwrap()
            .remove(frame.as_str());
    }
    // a region larger than the image is told; one as large as the image leaves all out
    std::fs::write(bench.path().join("some.json"), all_left_out.to_string()).unwrap();
    let said = typed(
        bench.path(),
        "corymb score fixtures/two_trees out --truth some.json",
    );
    assert_eq!(said.code, Some(2));
    assert!(said.stderr.contains("[box-outside]"), "{}", said.stderr);
    let run = json(&std::fs::read(bench.path().join("fixtures/two_trees/run.json")).unwrap());
    let camera = &run["cameras"][0];
    for frame in frames.iter().skip(30) {
        all_left_out["left_out"][frame.as_str()] =
            json!([[0, 0, camera["width_px"], camera["height_px"]]]);
    }
    let (left_out, removed) = (bench.score(&all_left_out), bench.score(&removed));
    for part in ["association", "by_identity", "absolute", "shift_removed"] {
        assert_eq!(left_out[part], removed[part], "{part}");
    }
    assert_eq!(removed["truth"]["images_without_labels"], 10);
}

#[test]
fn hand_counts_are_enough_for_counts() {
    let bench = Bench::new();
    let scores = bench.score(&json!({"version": 1, "counts": [
        {"tree": "t01", "fruitlets": 160}, {"tree": "t02", "fruitlets": 150}]}));
    let places = scores["counts"]["places"].as_array().unwrap();
    let told: Vec<_> = places
        .iter()
        .map(|p| {
            (
                p["id"].as_str(),
                p["truth"].as_u64(),
                p["counted_by"].as_str(),
            )
        })
        .collect();
    let row = places[2]["id"].as_str();
    assert_eq!(
        told,
        [
            (Some("t01"), Some(160), Some("hand")),
            (Some("t02"), Some(150), Some("hand")),
            (row, Some(310), Some("sum_of_hand")),
            (None, Some(310), Some("sum_of_hand")),
        ]
    );
    let map = |k: usize| places[k]["map"].as_u64().unwrap();
    assert_eq!(map(0) + map(1), map(2));
    assert!(map(3) > 200);
    for part in [
        "detector",
        "association",
        "by_identity",
        "tracking",
        "absolute",
        "common_shift",
        "shift_removed",
    ] {
        assert!(!because(&scores, part).is_empty(), "{part}");
    }
    let table = typed(
        bench.path(),
        "corymb score fixtures/two_trees out --truth some.json",
    );
    assert!(table.stdout.contains("COUNTS"), "{}", table.stdout);
}
