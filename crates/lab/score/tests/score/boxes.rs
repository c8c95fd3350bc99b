//! The detector's boxes and the map's tracks against true boxes, on cases worked out by hand.

use crate::orchard::{Scene, plain};
use approx::assert_abs_diff_eq;
use corymb_model::run::Class;
use corymb_model::truth::TrueBox;
use corymb_score::figure::Share;
use corymb_score::{DetectorScores, JudgedBy, Scores, TrackingScores, score};
use corymb_simulate::{SceneSpec, simulate};

/// Two fruit in one cluster, four images; every box in a place of its own, and the truth boxed as the detector has it.
fn scene(false_boxes: usize) -> Scene {
    let mut scene = Scene::new(&[vec![vec![plain(4); 2]]], false_boxes);
    for frame in &mut scene.run.frames {
        let labels = &scene.truth.detections[&frame.id];
        let mut boxes = Vec::new();
        for (d, (detection, &object)) in frame.detections.iter_mut().zip(labels).enumerate() {
            let x = 40.0 * d as f64;
            detection.box_px = [x, 0.0, x + 20.0, 20.0];
            if object.is_some() {
                boxes.push(TrueBox {
                    class: detection.class,
                    object,
                    box_px: detection.box_px,
                    visible_share: Some(1.0),
                });
            }
        }
        scene.truth.boxes.insert(frame.id.clone(), boxes);
    }
    scene
}

fn detector(scores: &Scores) -> &DetectorScores {
    scores.detector.figures().unwrap()
}

fn tracking(scores: &Scores) -> &TrackingScores {
    scores.tracking.figures().unwrap()
}

fn counts(share: &Share) -> (usize, usize) {
    (share.num, share.den)
}

fn first_boxes(scene: &mut Scene) -> &mut Vec<TrueBox> {
    scene.truth.boxes.get_mut("image-0").unwrap()
}

#[test]
fn boxes_that_repeat_the_truth_are_right() {
    let scores = scene(0).score();
    let all = detector(&scores);
    assert_eq!((all.judged_by, all.images), (JudgedBy::Boxes, 4));
    for kind in [&all.bodies, &all.stems, &all.calyces] {
        assert_eq!((kind.right, kind.false_ones, kind.missed), (8, 0, Some(0)));
        assert_abs_diff_eq!(kind.average_precision.value.unwrap(), 1.0, epsilon = 1e-12);
        assert_eq!(kind.edges.mean_error_px, Some(0.0));
        assert_eq!(kind.average_precision_at.len(), 10);
    }
    let tracks = tracking(&scores);
    for figure in [
        &tracks.hota_by_overlap,
        &tracks.mota_by_overlap,
        &tracks.idf1_by_overlap,
    ] {
        assert_abs_diff_eq!(figure.value.unwrap(), 1.0, epsilon = 1e-12);
    }
    assert_eq!((tracks.boxes_true, tracks.boxes_claimed), (8, 8));
}

#[test]
fn a_false_box_and_a_moved_one() {
    let mut scene = scene(1);
    let moved = &mut scene.run.frames[0].detections[0];
    assert_eq!(moved.class, Class::Fruitlet);
    moved.box_px = moved.box_px.map(|x| x + 10.0);
    let scores = scene.score();
    let bodies = &detector(&scores).bodies;
    assert_eq!(
        (bodies.right, bodies.false_ones, bodies.missed),
        (7, 5, Some(1))
    );
    assert_eq!(counts(&bodies.precision), (7, 12));
    assert_eq!(counts(&bodies.recall), (7, 8));
    assert_abs_diff_eq!(bodies.f1.value.unwrap(), 14.0 / 20.0, epsilon = 1e-12);
    // all of 20 px, so in the bin from 12 to 24
    let by_side: Vec<_> = bodies
        .by_side_px
        .iter()
        .map(|b| counts(&b.recall))
        .collect();
    assert_eq!(by_side, [(0, 0), (7, 8), (0, 0), (0, 0)]);
    let by_share: Vec<_> = bodies
        .by_visible_share
        .iter()
        .map(|b| counts(&b.recall))
        .collect();
    assert_eq!(by_share, [(0, 0), (0, 0), (0, 0), (0, 0), (7, 8)]);
    let tracks = tracking(&scores);
    assert_eq!(
        (tracks.misses_by_overlap, tracks.false_ones_by_overlap),
        (1, 1)
    );
    assert_abs_diff_eq!(
        tracks.mota_by_overlap.value.unwrap(),
        1.0 - 2.0 / 8.0,
        epsilon = 1e-12
    );
}

#[test]
fn edges_are_measured_from_truth_to_detector() {
    let mut scene = scene(0);
    for (k, frame) in scene.run.frames.iter_mut().enumerate() {
        let off = if k % 2 == 0 { 1.0 } else { 3.0 };
        for detection in &mut frame.detections {
            detection.box_px[2] += off;
        }
    }
    let edges = detector(&scene.score()).bodies.edges.clone();
    assert_eq!((edges.n, edges.bias_px), (8, Some([0.0, 0.0, 2.0, 0.0])));
    assert_abs_diff_eq!(edges.mean_error_px.unwrap(), 0.5, epsilon = 1e-12);
    // four times +1 and four times -1 about the mean
    assert_abs_diff_eq!(
        edges.deviation_px.unwrap()[2],
        (8.0_f64 / 7.0).sqrt(),
        epsilon = 1e-12
    );
}

#[test]
fn what_hardly_shows_need_not_be_found() {
    let mut scene = scene(0);
    first_boxes(&mut scene)[0].visible_share = Some(0.05);
    let found = scene.score();
    let bodies = &detector(&found).bodies;
    assert_eq!(
        (bodies.right, bodies.left_out, bodies.missed),
        (7, 1, Some(0))
    );
    assert_eq!(
        (tracking(&found).boxes_true, tracking(&found).boxes_claimed),
        (7, 7)
    );
    scene.run.frames[0].detections[0].box_px = [900.0, 0.0, 920.0, 20.0];
    let not_found = scene.score();
    let bodies = &detector(&not_found).bodies;
    assert_eq!(
        (bodies.right, bodies.false_ones, bodies.missed),
        (7, 1, Some(0))
    );
}

#[test]
fn what_was_left_out_counts_for_nothing() {
    let mut scene = scene(1);
    let regions = vec![[-5.0, -5.0, 25.0, 25.0], [230.0, 0.0, 300.0, 30.0]];
    scene.truth.left_out.insert("image-0".to_owned(), regions);
    let scores = scene.score();
    // of image 0: the first true box and its detection, and the false one
    let bodies = &detector(&scores).bodies;
    assert_eq!(
        (bodies.right, bodies.false_ones, bodies.left_out),
        (7, 3, 2)
    );
    assert_eq!(bodies.missed, Some(0));
    assert_eq!(
        (
            tracking(&scores).boxes_true,
            tracking(&scores).boxes_claimed
        ),
        (7, 7)
    );
}

#[test]
fn an_image_without_true_boxes_is_not_judged() {
    let mut scene = scene(0);
    scene.truth.boxes.remove("image-3");
    let scores = scene.score();
    assert_eq!(detector(&scores).images, 3);
    assert_eq!(detector(&scores).bodies.right, 6);
    assert_eq!(tracking(&scores).boxes_true, 6);
}

#[test]
fn labels_alone_give_precision_and_no_recall() {
    let mut scene = scene(1);
    scene.truth.boxes.clear();
    let scores = scene.score();
    let all = detector(&scores);
    assert_eq!(all.judged_by, JudgedBy::Labels);
    assert_eq!(counts(&all.bodies.precision), (8, 12));
    assert_eq!(all.bodies.recall.value, None);
    assert!(all.bodies.recall.reason.is_some() && all.bodies.average_precision.reason.is_some());
    assert!(scores.tracking.figures().is_none());
    scene.truth.detections.clear();
    assert!(scene.score().detector.figures().is_none());
}

/// Two objects exchange their claimed identities halfway: two switches, and the toy of the reference evaluators (HOTA
/// 0.57735, AssA 1/3, MOTA 0.75, IDF1 0.5).
#[test]
fn exchanged_claims_are_switches() {
    let mut scene = scene(0);
    let all: Vec<_> = scene
        .map
        .fruitlets
        .iter()
        .map(|f| f.detections.clone())
        .collect();
    for (k, fruitlet) in scene.map.fruitlets.iter_mut().enumerate() {
        let kept = all[k].iter().filter(|d| d.0.frame_idx < 2);
        let taken = all[1 - k].iter().filter(|d| d.0.frame_idx >= 2);
        fruitlet.detections = kept.chain(taken).copied().collect();
        fruitlet.detections.sort_unstable_by_key(|d| d.0);
    }
    let scores = scene.score();
    let tracks = tracking(&scores);
    assert_eq!(tracks.identity_switches_by_overlap, 2);
    for (figure, expected) in [
        (&tracks.hota_by_overlap, 0.57735),
        (&tracks.ass_a_by_overlap, 1.0 / 3.0),
        (&tracks.mota_by_overlap, 0.75),
        (&tracks.idf1_by_overlap, 0.5),
    ] {
        assert_abs_diff_eq!(figure.value.unwrap(), expected, epsilon = 5e-6);
    }
}

/// On a simulated run the bins part all that must be found, and the detector finds more of what shows better.
#[test]
fn a_simulated_detector_is_weaker_where_less_shows() {
    let simulated = simulate(&SceneSpec::close(), 5).unwrap();
    let scores = score(&corymb_score::ScoreInput {
        run: &simulated.run,
        truth: &simulated.truth,
        map: None,
        decisions: None,
        tasks: None,
        policy: None,
        setup: None,
        true_orchard: None,
    });
    let bodies = &detector(&scores).bodies;
    let required = bodies.recall.den;
    assert!(required > 500, "{required}");
    for bins in [&bodies.by_side_px, &bodies.by_visible_share] {
        assert_eq!(bins.iter().map(|b| b.recall.den).sum::<usize>(), required);
    }
    let recall = |k: usize| bodies.by_visible_share[k].recall.value.unwrap();
    assert!(recall(4) > recall(0));
    assert!(bodies.precision.value.unwrap() > 0.5 && bodies.edges.mean_error_px.unwrap() < 10.0);
}
