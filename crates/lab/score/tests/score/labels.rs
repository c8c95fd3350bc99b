//! Truth in parts: labels from true boxes, objects without places, regions left out, hand counts.

use crate::orchard::{Scene, plain};
use corymb_model::decisions::TreeLoad;
use corymb_model::run::Class;
use corymb_model::truth::{Counted, HandCount, NamedObject, TrueBox, Truth};
use corymb_score::figure::Share;
use corymb_score::{
    CountScores, CountedBy, IdentityScores, PlaceKind, Scores, render_table, score,
};
use proptest::prelude::*;
use serde_json::Value;

/// Two trees of two clusters of three fruit in four images; every box in a place of its own, and the truth boxed as the
/// detector has it.
fn scene() -> Scene {
    let mut scene = Scene::new(&vec![vec![vec![plain(4); 3]; 2]; 2], 1);
    for frame in &mut scene.run.frames {
        let labels = &scene.truth.detections[&frame.id];
        let mut boxes = Vec::new();
        for (d, (detection, &object)) in frame.detections.iter_mut().zip(labels).enumerate() {
            let x = 40.0 * d as f64;
            detection.box_px = [x, 0.0, x + 20.0, 20.0];
            boxes.extend(object.map(|_| TrueBox {
                class: detection.class,
                object,
                box_px: detection.box_px,
                visible_share: None,
            }));
        }
        scene.truth.boxes.insert(frame.id.clone(), boxes);
    }
    scene
}

/// The same objects without their places.
fn nameless_places(truth: &Truth) -> Truth {
    let named = truth.fruitlets.iter().map(|f| NamedObject {
        id: f.id.clone(),
        tree: Some(f.tree.clone()),
        cluster: Some(f.cluster.clone()),
    });
    Truth {
        named: named.collect(),
        fruitlets: Vec::new(),
        ..truth.clone()
    }
}

fn by_identity(scores: &Scores) -> &IdentityScores {
    scores.by_identity.figures().unwrap()
}

fn counts(scores: &Scores) -> &CountScores {
    scores.counts.figures().unwrap()
}

fn of(share: &Share) -> (usize, usize) {
    (share.num, share.den)
}

fn absent(value: &Value, part: &str) -> String {
    value[part]["absent_because"]
        .as_str()
        .unwrap_or_default()
        .to_owned()
}

#[test]
fn true_boxes_that_fit_are_as_good_as_labels() {
    let mut scene = scene();
    let by_labels = scene.score();
    scene.truth.detections.clear();
    let by_boxes = scene.score();
    assert_eq!(by_boxes.association, by_labels.association);
    assert_eq!(by_boxes.by_identity, by_labels.by_identity);
    assert_eq!(by_boxes.absolute, by_labels.absolute);
    assert_eq!(by_boxes.shift_removed, by_labels.shift_removed);
    assert_eq!(by_boxes.counts, by_labels.counts);
    assert_eq!(by_boxes.rows, by_labels.rows);
    let labelled = |s: &Scores| {
        (
            s.truth.images_labelled_by_boxes,
            s.truth.images_without_labels,
        )
    };
    assert_eq!(
        (labelled(&by_labels), labelled(&by_boxes)),
        ((0, 0), (4, 0))
    );
    assert_eq!(of(&by_identity(&by_boxes).recall), (12, 12));
    assert_eq!(
        by_boxes.association.figures().unwrap().bodies.hota.value,
        Some(1.0)
    );
}

/// A greedy choice would take the pair of overlap 0.9 and leave the other detection without one; the best total has
/// both. Bodies of other classes pair, other kinds do not.
#[test]
fn detections_and_true_boxes_are_paired_for_the_best_total() {
    let mut scene = scene();
    scene.truth.detections.clear();
    let frame = &mut scene.run.frames[0];
    let boxes = scene.truth.boxes.get_mut("image-0").unwrap();
    // true 0 at 0..20, true 1 (of detection 3) at 6..26; detection 0 at 1..21 overlaps both
    frame.detections[0].box_px = [1.0, 0.0, 21.0, 20.0];
    boxes[3].box_px = [6.0, 0.0, 26.0, 20.0];
    boxes[3].class = Class::Flower;
    // detection 3 overlaps only true 0 by half and more
    frame.detections[3].box_px = [-6.0, 0.0, 14.0, 20.0];
    // a stem box that a calyx box lies upon
    boxes[1].class = Class::Calyx;
    let scores = scene.score();
    let bodies = &scores.association.figures().unwrap().bodies;
    assert_eq!((bodies.boxes_true, bodies.boxes_claimed), (48, 48));
    // detection 0 shows fruit 1 and detection 3 fruit 0: two boxes with wrong identities
    assert_eq!(bodies.identity_switches, 2); // back again in the next image
    let stems = &scores.association.figures().unwrap().stems;
    assert_eq!((stems.boxes_true, stems.boxes_claimed), (47, 48));
}

#[test]
fn objects_without_places_are_judged_by_identity_alone() {
    let mut scene = scene();
    let placed = scene.score();
    scene.truth = nameless_places(&scene.truth);
    let scores = scene.score();
    assert_eq!(scores.association, placed.association);
    assert_eq!(scores.by_identity, placed.by_identity);
    assert_eq!(scores.tracking, placed.tracking);
    assert_eq!(scores.counts, placed.counts);
    assert_eq!(scores.truth.objects_without_place, 12);
    assert_eq!(scores.truth.clusters_considered, 4);
    assert_eq!(of(&by_identity(&scores).clusters_exact), (4, 4));
    assert_eq!(of(&by_identity(&scores).tree), (12, 12));
    let value = serde_json::to_value(&scores).unwrap();
    for part in [
        "absolute",
        "common_shift",
        "shift_removed",
        "rows",
        "intervals",
    ] {
        assert_eq!(absent(&value, part), "the truth states no places");
    }
    assert!(render_table(&scores).contains("the truth states no places"));
}

/// Fruit 0 loses its place and goes by name, last: it must be neither missed nor false where places judge.
#[test]
fn one_object_without_a_place_counts_for_nothing_by_place() {
    let mut scene = scene();
    let first = scene.truth.fruitlets.remove(0);
    scene.truth.named.push(NamedObject {
        id: first.id,
        tree: Some(first.tree),
        cluster: Some(first.cluster),
    });
    let renumbered = |g: usize| g.checked_sub(1).unwrap_or(11);
    for label in scene.truth.detections.values_mut().flatten() {
        *label = label.map(renumbered);
    }
    let scores = scene.score();
    let placed = scores.absolute.figures().unwrap();
    let fruit = &placed.fruitlets;
    assert_eq!((fruit.right, fruit.false_ones, fruit.missed), (11, 0, 0));
    assert_eq!((fruit.not_considered, fruit.not_judged), (0, 1));
    assert_eq!(of(&placed.clusters.exact), (4, 4));
    assert_eq!(of(&placed.clusters.pure), (4, 4));
    assert_eq!(of(&placed.pairing.stem.right), (44, 44));
    assert_eq!(placed.calibration.existence.n, 11);
    // its removal cannot be judged, nor can that of anything about it
    let orders = placed.orders.figures().unwrap();
    assert_eq!((orders.not_judged + orders.good.den, orders.looks), (8, 0));
    assert_eq!(of(&by_identity(&scores).recall), (12, 12));
}

#[test]
fn identities_are_judged_by_most_of_the_boxes() {
    let mut scene = scene();
    let fruit = &mut scene.map.fruitlets;
    // fruit 0 comes twice: three of its body boxes here, one there
    let moved = fruit[0].detections.pop_body();
    let mut again = fruit[0].clone();
    again.id = "again".to_owned();
    again.detections = vec![moved];
    fruit.push(again);
    // fruit 4 claims the false boxes of all images and one of its own: it is nothing
    let own = fruit[4].detections.pop_body();
    fruit[4].detections = vec![own];
    for (f, frame) in scene.run.frames.iter().enumerate() {
        let last = frame.detections.len() as u32 - 1;
        let at = corymb_model::run::BoxRef {
            frame_idx: f as u32,
            detection_idx: last,
        };
        fruit[4].detections.push((at, Class::Fruitlet));
    }
    // fruit 11 hangs in the cluster of fruit 6
    fruit[11].cluster_idx = fruit[6].cluster_idx;
    let scores = scene.score();
    let it = by_identity(&scores);
    assert_eq!(
        (it.right, it.repeated, it.false_ones, it.missed),
        (11, 1, 1, 1)
    );
    assert_eq!(of(&it.precision), (11, 13));
    assert_eq!(of(&it.recall), (11, 12));
    assert!((it.f1.value.unwrap() - 22.0 / 25.0).abs() < 1e-12);
    // spoilt: by the repeated one, by the false one, by what came and by what left
    assert_eq!(of(&it.clusters_exact), (0, 4));
    assert_eq!(of(&it.tree), (11, 11));
    // pairs among the 11: true 3 + 1 + 3 + 3, in the map 3 + 1 + 6 + 1, in both 3 + 1 + 3 + 1
    let f1 = it.clusters.pairwise_f1.value.unwrap();
    assert!((f1 - 2.0 * 8.0 / 21.0).abs() < 1e-12, "{f1}");
}

trait PopBody {
    /// Takes out the last body box.
    fn pop_body(&mut self) -> (corymb_model::run::BoxRef, Class);
}

impl PopBody for Vec<(corymb_model::run::BoxRef, Class)> {
    fn pop_body(&mut self) -> (corymb_model::run::BoxRef, Class) {
        let at = self.iter().rposition(|d| d.1.is_body()).unwrap();
        self.remove(at)
    }
}

/// Fruit 0 lies in the left-out part of every image, fruit 1 in that of two.
#[test]
fn what_is_left_out_counts_for_nothing() {
    for boxes_alone in [false, true] {
        let mut scene = scene();
        if boxes_alone {
            scene.truth.detections.clear();
        }
        for (f, id) in ["image-0", "image-1", "image-2", "image-3"]
            .iter()
            .enumerate()
        {
            // three boxes a fruitlet, 40 px apart
            let fruit = if f < 2 { 2.0 } else { 1.0 };
            let region = [0.0, 0.0, 120.0 * fruit - 10.0, 20.0];
            scene.truth.left_out.insert((*id).to_owned(), vec![region]);
        }
        let scores = scene.score();
        assert_eq!((scores.truth.considered, scores.truth.never_seen), (11, 1));
        let it = by_identity(&scores);
        assert_eq!((it.right, it.false_ones, it.missed), (11, 0, 0));
        assert_eq!((it.not_labelled, it.not_considered), (1, 0));
        let bodies = &scores.association.figures().unwrap().bodies;
        assert_eq!((bodies.boxes_true, bodies.boxes_both), (42, 42));
        // it has a place, so that there it is a true one, only not expected
        let fruit = &scores.absolute.figures().unwrap().fruitlets;
        assert_eq!(
            (fruit.right, fruit.not_considered, fruit.false_ones),
            (11, 1, 0)
        );
        // an invented fruitlet among unlabelled boxes is neither, too
        let mut invented = scene.map.fruitlets[0].clone();
        invented.centre.xyz.z += 0.5;
        scene.map.fruitlets.push(invented);
        let fruit = &scene.score().absolute.figures().unwrap().fruitlets.clone();
        assert_eq!((fruit.not_judged, fruit.false_ones), (1, 0));
    }
}

/// With labels of one image of four nothing is expected, so there is nothing to be right about; with two, all is.
#[test]
fn images_without_labels_count_for_nothing() {
    let mut scene = scene();
    scene.truth.boxes.clear();
    scene.truth.detections.retain(|id, _| id == "image-3");
    let scores = scene.score();
    assert_eq!(
        (scores.truth.images_without_labels, scores.truth.seen_once),
        (3, 12)
    );
    let it = by_identity(&scores);
    assert_eq!((it.right, it.not_considered, it.missed), (0, 12, 0));
    assert_eq!((it.precision.value, it.recall.value), (None, None));
    assert!(it.recall.reason.is_some());

    let whole = self::scene().truth.detections;
    scene.truth.detections = whole;
    scene.truth.detections.remove("image-0");
    scene.truth.detections.remove("image-1");
    let scores = scene.score();
    assert_eq!(of(&by_identity(&scores).recall), (12, 12));
    assert_eq!(scores.association.figures().unwrap().bodies.boxes_true, 24);
    assert_eq!(scores.rows.figures().unwrap().frames.len(), 2);
}

#[test]
fn boxes_that_nobody_named_say_nothing_of_identities() {
    let mut scene = scene();
    scene.truth = Truth {
        boxes: scene.truth.boxes.clone(),
        ..Truth::default()
    };
    for b in scene.truth.boxes.values_mut().flatten() {
        b.object = None;
    }
    let value = serde_json::to_value(scene.score()).unwrap();
    for part in ["association", "by_identity"] {
        assert_eq!(
            absent(&value, part),
            "the true boxes do not say which object they show"
        );
    }
    assert_eq!(value["detector"]["bodies"]["recall"]["num"], 48);
    assert!(!absent(&value, "counts").is_empty());
}

/// Without labels the places alone judge: all fruit is expected.
#[test]
fn places_alone_are_enough_for_what_goes_by_place() {
    let mut scene = scene();
    scene.truth.detections.clear();
    scene.truth.boxes.clear();
    scene.map.fruitlets[0].centre.xyz.z += 0.5;
    let scores = scene.score();
    let fruit = &scores.absolute.figures().unwrap().fruitlets;
    assert_eq!((fruit.right, fruit.false_ones, fruit.missed), (11, 1, 1));
    assert_eq!(fruit.not_judged, 0);
    let value = serde_json::to_value(&scores).unwrap();
    for part in ["association", "by_identity"] {
        assert_eq!(absent(&value, part), "the truth labels no image of the run");
    }
    assert!(absent(&value, "shift_removed").contains("are needed"));
}

fn hand(on: Counted, fruitlets: usize) -> HandCount {
    HandCount { on, fruitlets }
}

#[test]
fn hand_counts_alone_are_compared() {
    let mut scene = scene();
    scene.map.fruitlets[0].tree_idx = Some(1);
    scene.map.fruitlets[11].tree_idx = None;
    let tree = |t: usize| Counted::Tree(format!("tree-{t}"));
    let unknown = Counted::Tree("tree-9".to_owned());
    scene.truth = Truth {
        counts: vec![hand(tree(0), 10), hand(tree(1), 4), hand(unknown, 3)],
        ..Truth::default()
    };
    let load = |tree_idx, unseen| TreeLoad {
        tree_idx,
        unseen,
        ..TreeLoad::default()
    };
    scene.decisions.trees = vec![load(Some(0), 2.5), load(Some(1), 0.0), load(None, 1.0)];
    let scores = scene.score();
    let it = counts(&scores);
    let rows: Vec<_> = it
        .places
        .iter()
        .map(|p| {
            (
                p.place,
                p.id.as_deref(),
                p.truth,
                p.counted_by,
                p.map,
                p.map_and_unseen,
            )
        })
        .collect();
    use CountedBy::{Hand, SumOfHand};
    assert_eq!(
        rows,
        [
            (PlaceKind::Tree, Some("tree-0"), 10, Hand, 5, Some(7.5)),
            (PlaceKind::Tree, Some("tree-1"), 4, Hand, 6, Some(6.0)),
            (PlaceKind::Row, Some("row"), 14, SumOfHand, 11, Some(13.5)),
            (PlaceKind::Block, None, 14, SumOfHand, 12, Some(15.5)),
        ]
    );
    assert_eq!(it.hand_counts_not_compared, 1);
    let close = |f: &corymb_score::figure::Figure, v: f64| {
        assert!((f.value.unwrap() - v).abs() < 1e-12, "{f:?}");
    };
    close(&it.trees.absolute_error_share, 0.5); // 5/10 and 2/4
    close(&it.trees.absolute_error_fruit, 3.5);
    close(&it.trees.bias_fruit, -1.5);
    close(&it.trees.bias_of_all_share, -3.0 / 14.0);
    close(&it.trees_with_unseen.bias_fruit, -0.25);
    close(&it.trees_with_unseen.absolute_error_share, 0.375);
    let value = serde_json::to_value(&scores).unwrap();
    for part in [
        "detector",
        "association",
        "by_identity",
        "tracking",
        "absolute",
        "common_shift",
        "shift_removed",
        "intervals",
        "rows",
    ] {
        assert!(!absent(&value, part).is_empty(), "{part}");
    }
    let table = render_table(&scores);
    assert!(
        table.contains("places: tree-0") && table.contains("places: all"),
        "{table}"
    );
}

/// A hand count goes before objects; objects are a count only where they are all there is.
#[test]
fn objects_are_counted_where_nobody_counted() {
    let mut scene = scene();
    scene.truth.counts = vec![hand(Counted::Tree("tree-1".to_owned()), 9)];
    let sources = |scene: &Scene| -> Vec<(usize, CountedBy)> {
        let scores = scene.score();
        counts(&scores)
            .places
            .iter()
            .map(|p| (p.truth, p.counted_by))
            .collect()
    };
    use CountedBy::{Hand, Objects};
    assert_eq!(
        sources(&scene),
        [(6, Objects), (9, Hand), (12, Objects), (12, Objects)]
    );
    scene.truth.counts.push(hand(Counted::Block, 20));
    scene
        .truth
        .counts
        .push(hand(Counted::Row("row".to_owned()), 19));
    assert_eq!(
        sources(&scene),
        [(6, Objects), (9, Hand), (19, Hand), (20, Hand)]
    );
    scene.truth.counts.clear();
    scene.truth = nameless_places(&scene.truth);
    scene.truth.detections.remove("image-0");
    scene.truth.boxes.remove("image-0");
    let value = serde_json::to_value(scene.score()).unwrap();
    assert!(absent(&value, "counts").contains("too little else"));
    scene.truth.named.clear();
    scene.truth.boxes.clear();
    scene.truth.detections = scene
        .run
        .frames
        .iter()
        .map(|f| (f.id.clone(), vec![None; f.detections.len()]))
        .collect();
    scene.run.orchard = None;
    assert_eq!(sources(&scene), [(0, Objects)]);
}

/// Every undefined figure below gives a reason.
fn reasons(path: &str, value: &Value) -> Result<(), String> {
    match value {
        Value::Object(fields) => {
            let undefined = ["value", "median", "brier"]
                .iter()
                .any(|k| fields.get(*k) == Some(&Value::Null));
            if undefined && !fields.get("reason").is_some_and(Value::is_string) {
                return Err(format!("{path}: {value}"));
            }
            fields
                .iter()
                .try_for_each(|(k, v)| reasons(&format!("{path}/{k}"), v))
        }
        Value::Array(items) => items.iter().try_for_each(|v| reasons(path, v)),
        _ => Ok(()),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever is taken out of a truth, the score stands, says why what is missing is missing, and stays within bounds.
    #[test]
    fn any_part_of_a_truth_can_be_scored(
        placed in 0usize..=12,
        detections in prop::collection::vec(prop::bool::ANY, 4),
        boxes in prop::collection::vec(prop::bool::ANY, 4),
        region in prop::option::of(0.0..600.0_f64),
        nameless in prop::bool::ANY,
        counted in prop::bool::ANY,
        orchard in prop::bool::ANY,
    ) {
        let mut scene = scene();
        let names = nameless_places(&scene.truth).named;
        scene.truth.named = names[placed..].to_vec();
        scene.truth.fruitlets.truncate(placed);
        for f in 0..4 {
            let id = format!("image-{f}");
            if !detections[f] { scene.truth.detections.remove(&id); }
            if !boxes[f] { scene.truth.boxes.remove(&id); }
            if let Some(x) = region {
                scene.truth.left_out.insert(id, vec![[x, 0.0, x + 300.0, 20.0]]);
            }
        }
        if nameless {
            scene.truth.boxes.values_mut().flatten().for_each(|b| b.object = None);
        }
        if counted {
            scene.truth.counts.push(hand(Counted::Block, 12));
        }
        if !orchard {
            scene.run.orchard = None;
        }
        let scores = score(&scene.input());
        prop_assert!(!render_table(&scores).is_empty());
        let value = serde_json::to_value(&scores).unwrap();
        if let Err(wrong) = reasons("", &value) {
            return Err(TestCaseError::fail(wrong));
        }
        // the map repeats the truth, so whatever can be judged is right
        if let Some(it) = scores.by_identity.figures() {
            prop_assert_eq!((it.repeated, it.false_ones, it.missed), (0, 0, 0));
        }
        if let Some(it) = scores.absolute.figures() {
            prop_assert_eq!(it.fruitlets.missed, 0);
            let all = it.fruitlets.right + it.fruitlets.not_considered + it.fruitlets.not_judged + it.fruitlets.false_ones;
            prop_assert_eq!(all, 12);
        }
    }
}
