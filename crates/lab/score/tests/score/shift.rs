//! A slow common shift costs the absolute figures, not those with the shift removed.

use crate::orchard::{Scene, plain};
use corymb_score::{PlacedScores, Scores};
use nalgebra::Vector3;

/// One long tree side: 24 clusters of three.
fn scene() -> Scene {
    Scene::new(&vec![vec![vec![plain(3); 3]; 6]; 4], 1)
}

/// A drift that changes over metres, about 20 mm large.
fn drift(x: f64) -> Vector3<f64> {
    Vector3::new(0.018, 0.006 * (x / 4.0).sin(), 0.01 * (x / 4.0).cos())
}

fn drifted(scene: &mut Scene) {
    for fruitlet in &mut scene.map.fruitlets {
        fruitlet.centre.xyz += drift(fruitlet.centre.xyz.x);
    }
    for cluster in &mut scene.map.clusters {
        cluster.spur.xyz += drift(cluster.spur.xyz.x);
    }
    scene.thin_again(1);
}

fn both(scores: &Scores) -> (&PlacedScores, &PlacedScores) {
    (
        scores.absolute.figures().unwrap(),
        scores.shift_removed.figures().unwrap(),
    )
}

#[test]
fn a_slow_drift_is_taken_away_from_fruit_spurs_and_tools() {
    let mut scene = scene();
    drifted(&mut scene);
    let scores = scene.score();
    let (absolute, removed) = both(&scores);
    assert_eq!(absolute.fruitlets.recall.num, 0);
    assert_eq!(
        (removed.fruitlets.recall.num, removed.fruitlets.recall.den),
        (72, 72)
    );
    // at the ends of a tree all neighbours lie on one side, up to 0.6 m away, over which the drift changes by 1.5 mm
    assert!(removed.fruitlets.position_error_mm.max.unwrap() < 2.0);
    assert!(removed.fruitlets.position_error_mm.median.unwrap() < 0.5);
    assert!(removed.clusters.spur_error_mm.max.unwrap() < 2.0);
    assert_eq!(absolute.orders.figures().unwrap().good.num, 0);
    assert_eq!(removed.orders.figures().unwrap().good.num, 48);
    assert_eq!(removed.orders.figures().unwrap().clusters_right.num, 24);
    let shift = scores.common_shift.figures().unwrap();
    assert!((shift.identified_error_mm.median.unwrap() - 20.0).abs() < 2.0);
}

/// The shift at a fruitlet comes from its neighbours, so an error of its own stays.
#[test]
fn an_error_of_its_own_is_not_taken_away() {
    let mut scene = scene();
    drifted(&mut scene);
    scene.map.fruitlets[30].centre.xyz.z += 0.009;
    let scores = scene.score();
    let (_, removed) = both(&scores);
    let worst = removed.fruitlets.position_error_mm.max.unwrap();
    assert!((worst - 9.0).abs() < 1.5, "{worst}");
}

/// The labels tell who is who, so fruit that hides behind a mistaken identity does not pull the shift.
#[test]
fn mistaken_identities_do_not_move_the_shift() {
    let mut scene = scene();
    for k in (0..72).step_by(5) {
        scene.map.fruitlets[k].detections.clear();
        scene.map.fruitlets[k].centre.xyz.y += 0.5;
    }
    let scores = scene.score();
    let shift = scores.common_shift.figures().unwrap();
    assert_eq!(shift.identified_error_mm.n, 72 - 15);
    assert_eq!(shift.identified_error_mm.max, Some(0.0));
    assert_eq!(shift.mean_shift_mm.value, Some(0.0));
}

/// A machine that finds its place again is judged by the probability stated for that.
#[test]
fn each_part_has_its_own_stated_probability_of_success() {
    let mut scene = scene();
    for at in 0..scene.tasks.orders.len() {
        scene.plan(at).success_probability = 0.9;
        scene.plan(at).success_probability_unlocated = 0.3;
    }
    let scores = scene.score();
    let (absolute, removed) = both(&scores);
    assert!((absolute.calibration.order_success.stated.unwrap() - 0.3).abs() < 1e-12);
    assert!((removed.calibration.order_success.stated.unwrap() - 0.9).abs() < 1e-12);
}
