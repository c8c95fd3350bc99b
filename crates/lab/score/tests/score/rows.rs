//! The score unit by unit adds up to the score.

use crate::orchard::{Scene, plain};
use corymb_model::frames::{Direction, Point};
use corymb_model::map::CropMap;
use corymb_model::truth::NamedObject;
use corymb_score::headline::HEADLINES;
use corymb_score::rows::{Placement, Rows, Tally, UnitRow};
use corymb_score::{ScoreInput, Scores, score};
use corymb_simulate::{SceneSpec, Simulated, simulate, truth_as_map};
use nalgebra::Vector3;
use proptest::prelude::*;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde_json::Value;

fn sum<'u>(units: impl IntoIterator<Item = &'u UnitRow>) -> Tally {
    let mut total = Tally::default();
    for unit in units {
        total += &unit.tally;
    }
    total
}

/// Where the score itself has a headline figure.
fn pointer(placed: &str, part: &str, figure: &str) -> Option<String> {
    Some(match (part, figure) {
        ("association", _) => format!("/association/bodies/{figure}/value"),
        ("trees", "count_ratio") => return None,
        ("fruitlets", "position_error_mm" | "diameter_error_mm") | ("orientation", "error_deg") => {
            format!("/{placed}/{part}/{figure}/mean")
        }
        ("pairing", "stem_right") => format!("/{placed}/pairing/stem/right/value"),
        ("pairing", "calyx_right") => format!("/{placed}/pairing/calyx/right/value"),
        _ => format!("/{placed}/{part}/{figure}/value"),
    })
}

/// Compares the sums with the score; returns how many figures were compared that both define.
fn check(scores: &Scores) -> Result<usize, String> {
    let rows = scores.rows.figures().unwrap();
    let value = serde_json::to_value(scores).unwrap();
    let placed = match rows.placement {
        Placement::Absolute => "absolute",
        Placement::ShiftRemoved => "shift_removed",
    };
    let total = sum(&rows.trees);
    let mut compared = 0;
    for headline in HEADLINES {
        let ours = headline.of(&total);
        let Some(at) = pointer(placed, headline.part, headline.figure) else {
            continue;
        };
        let theirs = value.pointer(&at).and_then(Value::as_f64);
        match (ours, theirs) {
            (Some(a), Some(b)) if (a - b).abs() <= 1e-9 * b.abs().max(1.0) => compared += 1,
            // without any right box AssA is undefined and HOTA 0, by sums as by eq. 1
            (None, None) => {}
            _ => return Err(format!("{at}: by units {ours:?}, in the score {theirs:?}")),
        }
    }
    counts(&total, &value, placed)?;
    frames(rows, &total)?;
    clusters(rows, &total)?;
    Ok(compared)
}

fn equal(what: &str, ours: usize, theirs: &Value) -> Result<(), String> {
    if Some(ours as u64) == theirs.as_u64() {
        Ok(())
    } else {
        Err(format!("{what}: by units {ours}, in the score {theirs}"))
    }
}

fn counts(total: &Tally, value: &Value, placed: &str) -> Result<(), String> {
    let (stages, bodies) = (&value[placed], &value["association"]["bodies"]);
    let fruit = &stages["fruitlets"];
    equal("right", total.fruit_right, &fruit["right"])?;
    equal("false", total.fruit_false, &fruit["false_ones"])?;
    equal("missed", total.fruit_missed, &fruit["missed"])?;
    // objects without a place are expected by identity alone
    if value["truth"]["objects_without_place"] == 0 {
        equal(
            "considered",
            total.fruit_considered,
            &value["truth"]["considered"],
        )?;
    }
    let others = fruit["not_considered"].as_u64().unwrap() as usize;
    if total.fruit_in_map != total.fruit_right + total.fruit_false + others {
        return Err("map fruit is right, false or not considered".to_owned());
    }
    if !bodies.is_null() {
        equal("true boxes", total.boxes_true, &bodies["boxes_true"])?;
        equal(
            "claimed boxes",
            total.boxes_claimed,
            &bodies["boxes_claimed"],
        )?;
        equal("both", total.boxes_both, &bodies["boxes_both"])?;
    }
    for (num, den, at) in [
        (total.stems_right, total.stems, "/pairing/stem/right"),
        (total.calyces_right, total.calyces, "/pairing/calyx/right"),
        (total.clusters_exact, total.clusters, "/clusters/exact"),
        (total.kings_right, total.kings, "/kings/right"),
        (
            total.axes_within_20,
            total.axes,
            "/orientation/within_20_deg",
        ),
        (total.on_right_tree, total.with_tree, "/trees/tree"),
        (
            total.decided_as_allowed,
            total.clusters_decided,
            "/decisions/as_allowed",
        ),
        (total.orders_good, total.orders, "/orders/good"),
        (total.orders_hurt_kept, total.orders, "/orders/hurt_kept"),
        (
            total.clusters_thinned_right,
            total.clusters_overfull,
            "/orders/clusters_right",
        ),
    ] {
        if let Some(share) = stages.pointer(at) {
            equal(at, num, &share["num"])?;
            equal(at, den, &share["den"])?;
        }
    }
    Ok(())
}

fn frames(rows: &Rows, total: &Tally) -> Result<(), String> {
    let (mut truth, mut claimed, mut both, mut right) = (0, 0, 0, 0);
    for f in &rows.frames {
        truth += f.boxes_true;
        claimed += f.boxes_claimed;
        both += f.boxes_both;
        right += f.boxes_right;
        if f.errors() != f.boxes_true + f.boxes_claimed - 2 * f.boxes_right {
            return Err(format!("{}: errors", f.frame));
        }
    }
    let by_units = (
        total.boxes_true,
        total.boxes_claimed,
        total.boxes_both,
        total.boxes_right,
    );
    if (truth, claimed, both, right) == by_units {
        Ok(())
    } else {
        Err(format!(
            "by images {:?}, by units {by_units:?}",
            (truth, claimed, both, right)
        ))
    }
}

/// Clusters as rows, and as units where there are few trees, say the same as trees.
fn clusters(rows: &Rows, total: &Tally) -> Result<(), String> {
    let exact = rows.clusters.iter().filter(|c| c.exact).count();
    let size: usize = rows.clusters.iter().map(|c| c.size).sum();
    if (exact, rows.clusters.len(), size)
        != (total.clusters_exact, total.clusters, total.fruit_considered)
    {
        return Err("rows of clusters".to_owned());
    }
    if rows.cluster_units.is_empty() {
        return Ok(());
    }
    let mut by_clusters = sum(&rows.cluster_units);
    (by_clusters.count_error_share, by_clusters.trees_counted) =
        (total.count_error_share, total.trees_counted);
    for headline in HEADLINES {
        let (a, b) = (headline.of(&by_clusters), headline.of(total));
        let near = a
            .zip(b)
            .is_none_or(|(a, b)| (a - b).abs() <= 1e-9 * b.abs().max(1.0));
        if a.is_some() != b.is_some() || !near {
            return Err(format!(
                "{}: by clusters {a:?}, by trees {b:?}",
                headline.figure
            ));
        }
    }
    Ok(())
}

/// One mistake in an output.
fn spoil(scene: &mut Scene, kind: u8, at: usize) {
    let n = scene.map.fruitlets.len();
    let (k, other) = (at % n, (at * 7 + 3) % n);
    match kind {
        0 => scene.map.fruitlets[k].existence = 0.2,
        1 => scene.map.fruitlets[k].centre.xyz.x += 0.02,
        2 => scene.map.fruitlets[k].centre.xyz.y += 0.004,
        3 => scene.map.fruitlets[k].diameter_m += 0.003,
        4 => scene.map.fruitlets[k].axis = None,
        5 => {
            let axis = scene.map.fruitlets[k].axis.as_mut();
            if let Some(axis) = axis {
                axis.direction = Direction::of(Vector3::new(0.3, 0.0, -1.0)).unwrap();
            }
        }
        6 => {
            let all = &mut scene.map.fruitlets[k].detections;
            let boxes = all.split_off(all.len().min(3));
            scene.map.fruitlets[other].detections.extend(boxes);
        }
        7 => scene.map.fruitlets[k].cluster_idx = scene.map.fruitlets[other].cluster_idx,
        8 => scene.map.fruitlets[k].tree_idx = None,
        9 => scene.map.fruitlets[k].king_probability = 0.9,
        10 => {
            let mut invented = scene.map.fruitlets[k].clone();
            invented.centre = Point::new(0.3 * at as f64, 0.4, 1.0);
            invented.detections.clear();
            scene.map.fruitlets.push(invented);
        }
        _ => {
            let left = scene.decisions.decisions.len();
            if left > 0 {
                scene.decisions.decisions.remove(at % left);
            }
        }
    }
}

/// Leaves only the names of the last true fruitlets, every other of them without tree and cluster.
fn take_places(scene: &mut Scene, count: usize) {
    let truth = &mut scene.truth;
    let kept = truth.fruitlets.len().saturating_sub(count).max(1);
    for (n, fruit) in truth.fruitlets.drain(kept..).enumerate() {
        let known = n % 2 == 0;
        truth.named.push(NamedObject {
            id: fruit.id,
            tree: known.then_some(fruit.tree),
            cluster: known.then_some(fruit.cluster),
        });
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn units_add_up_to_the_score_whatever_is_wrong(
        trees in 1usize..7,
        false_boxes in 0usize..2,
        once in prop::bool::ANY,
        without_place in 0usize..9,
        unlabelled in prop::bool::ANY,
        mistakes in prop::collection::vec((0u8..12, 0usize..100), 0..12),
    ) {
        let mut trees = vec![vec![vec![plain(3); 3]; 2]; trees];
        if once {
            trees[0][0][1].seen = vec![true, false, false];
        }
        let mut scene = Scene::new(&trees, false_boxes);
        for (kind, at) in mistakes {
            spoil(&mut scene, kind, at);
        }
        take_places(&mut scene, without_place);
        if unlabelled {
            scene.truth.detections.remove("image-2");
        }
        let checked = check(&scene.score());
        prop_assert!(checked.is_ok(), "{:?}", checked);
    }
}

#[test]
fn a_whole_scene_compares_every_figure() {
    let mut scene = Scene::new(&vec![vec![vec![plain(3); 3]; 2]; 6], 1);
    for (kind, at) in [
        (0, 1),
        (2, 9),
        (3, 20),
        (5, 11),
        (6, 30),
        (7, 14),
        (8, 2),
        (10, 5),
    ] {
        spoil(&mut scene, kind, at);
    }
    let compared = check(&scene.score()).unwrap();
    assert_eq!(compared, HEADLINES.len() - 1); // count_ratio stands by itself
}

/// Six trees, one fruit lost on the third and one invented beside the first.
#[test]
fn each_mistake_stands_with_its_own_tree() {
    let mut scene = Scene::new(&vec![vec![vec![plain(3); 3]; 2]; 6], 0);
    scene.map.fruitlets[12].existence = 0.2;
    let mut invented = scene.map.fruitlets[0].clone();
    invented.centre.xyz.z -= 0.2;
    invented.detections.clear();
    scene.map.fruitlets.push(invented);
    let scores = scene.score();
    let rows = scores.rows.figures().unwrap();
    let of = |tree: &str| rows.trees.iter().find(|t| t.unit == tree).unwrap().tally;
    assert_eq!(rows.trees.len(), 6);
    assert!(rows.cluster_units.is_empty());
    let counts = |t: Tally| (t.fruit_right, t.fruit_false, t.fruit_missed, t.fruit_in_map);
    assert_eq!(counts(of("tree-0")), (6, 1, 0, 7));
    assert_eq!(counts(of("tree-2")), (5, 0, 1, 5));
    assert_eq!(counts(of("tree-4")), (6, 0, 0, 6));
    assert_eq!(
        (of("tree-2").boxes_true, of("tree-2").boxes_claimed),
        (18, 15)
    );
    assert!((of("tree-0").count_error_share - 1.0 / 6.0).abs() < 1e-12);
    assert_eq!(of("tree-2").clusters_exact, 1);
    let total = sum(&rows.trees);
    let ratio = HEADLINES
        .iter()
        .find(|h| h.figure == "count_ratio")
        .unwrap();
    assert_eq!(ratio.of(&total), Some(36.0 / 36.0));
}

/// A map near the truth: fruit lost, moved, turned, exchanged.
fn rough(simulated: &Simulated, seed: u64) -> CropMap {
    let mut map = truth_as_map(simulated);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut draw = || (rng.next_u64() >> 40) as f64 / f64::from(1 << 24);
    let n = map.fruitlets.len();
    for k in 0..n {
        let fruitlet = &mut map.fruitlets[k];
        if draw() < 0.1 {
            fruitlet.existence = 0.1;
        }
        fruitlet.centre.xyz += Vector3::new(draw() - 0.5, draw() - 0.5, draw() - 0.5) * 0.02;
        fruitlet.diameter_m *= 0.9 + 0.2 * draw();
        if let Some(axis) = &mut fruitlet.axis {
            let turn = Vector3::new(draw() - 0.5, draw() - 0.5, draw() - 0.5);
            axis.direction = Direction::of(axis.direction.xyz + turn).unwrap();
        }
        if draw() < 0.1 {
            let boxes = std::mem::take(&mut map.fruitlets[k].detections);
            let other = (k + 1) % n;
            map.fruitlets[other].detections.extend(boxes);
        }
    }
    map
}

#[test]
fn units_add_up_on_simulated_runs() {
    for (seed, spec) in [
        (1, SceneSpec::close()),
        (2, SceneSpec::two_trees()),
        (3, SceneSpec::no_orchard()),
    ] {
        let simulated = simulate(&spec, seed).unwrap();
        let map = rough(&simulated, seed);
        let input = ScoreInput {
            run: &simulated.run,
            truth: &simulated.truth,
            map: Some(&map),
            decisions: None,
            tasks: None,
            policy: None,
            setup: None,
            true_orchard: None,
        };
        let compared = check(&score(&input)).unwrap_or_else(|wrong| panic!("seed {seed}: {wrong}"));
        assert!(compared >= 18, "seed {seed}: only {compared}");
    }
}
