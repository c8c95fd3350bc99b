//! The task list as a whole.

use crate::row::{Removal, Row, refusal, view};
use corymb_model::arm::ToolAction;
use corymb_model::decisions::Action;
use corymb_model::orders::{Order, Work};
use corymb_sequence::{Config, Input};
use nalgebra::Vector3;
use petgraph::algo::toposort;
use petgraph::graph::DiGraph;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

fn removal(stop: Option<(i64, i64)>) -> impl Strategy<Value = Removal> {
    let place = (0.0..1.2f64, 0.0..0.5f64, 0.5..2.8f64);
    (place, (-0.5..0.5f64, -0.5..0.5f64))
        .prop_map(move |((x, y, z), (a, b))| ([x, y, z], [a, b], stop))
}

/// Clusters of one to three removals a few centimetres apart.
fn clusters(most: usize) -> impl Strategy<Value = Vec<Vec<Removal>>> {
    let aside = prop::collection::vec((-0.03..0.03f64, -0.03..0.03f64, -0.03..0.03f64), 0..3);
    let cluster = (removal(Some((0, 1))), aside).prop_map(|(first, aside)| {
        let beside = aside.into_iter().map(|(dx, dy, dz)| {
            (
                [first.0[0] + dx, first.0[1] + dy, first.0[2] + dz],
                first.1,
                first.2,
            )
        });
        std::iter::once(first).chain(beside).collect()
    });
    prop::collection::vec(cluster, 1..most)
}

fn enclose(order: &Order) -> Option<Vector3<f64>> {
    match &order.work {
        Work::Remove { plan, .. } => Some(plan.orchard_from_tool.origin().xyz),
        Work::Look { .. } => None,
    }
}

fn length(points: &[Vector3<f64>]) -> f64 {
    points.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
}

/// Nearest neighbour from the first point, then 2-opt until nothing gains; precedences not regarded.
fn two_opt(points: &[Vector3<f64>]) -> f64 {
    let mut left = points.to_vec();
    let mut path = vec![left.remove(0)];
    while !left.is_empty() {
        let here = path[path.len() - 1];
        let next = (0..left.len())
            .min_by(|&a, &b| (left[a] - here).norm().total_cmp(&(left[b] - here).norm()));
        path.push(left.remove(next.unwrap()));
    }
    let mut best = length(&path);
    let mut improved = true;
    while improved {
        improved = false;
        for i in 1..path.len() {
            for j in i + 1..path.len() {
                path[i..=j].reverse();
                let now = length(&path);
                if now < best - 1e-9 {
                    best = now;
                    improved = true;
                } else {
                    path[i..=j].reverse();
                }
            }
        }
    }
    best
}

fn shuffled(row: &Row, seed: u64) -> (Row, Vec<usize>) {
    let key = |i: usize| {
        (seed | 1)
            .wrapping_mul(i as u64 * 2 + 1)
            .wrapping_mul(0x9E37_79B9_7F4A_7C15)
    };
    let order = |n: usize| {
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by_key(|&i| (key(i), i));
        order
    };
    let (fruit, clusters) = (
        order(row.map.fruitlets.len()),
        order(row.map.clusters.len()),
    );
    let place = |order: &[usize], old: usize| order.iter().position(|&o| o == old).unwrap();
    let mut out = row.clone();
    out.map.fruitlets = fruit
        .iter()
        .map(|&i| row.map.fruitlets[i].clone())
        .collect();
    out.map.clusters = clusters
        .iter()
        .map(|&c| row.map.clusters[c].clone())
        .collect();
    out.map
        .fruitlets
        .iter_mut()
        .for_each(|f| f.cluster_idx = place(&clusters, f.cluster_idx));
    out.decisions
        .decisions
        .iter_mut()
        .for_each(|d| d.fruitlet_idx = place(&fruit, d.fruitlet_idx));
    out.decisions.chosen = clusters
        .iter()
        .map(|&c| row.decisions.chosen[c].clone())
        .collect();
    for (c, way) in &mut out.decisions.chosen {
        *c = place(&clusters, *c);
        for plan in &mut way.removals {
            plan.enclosed = place(&fruit, plan.enclosed);
            plan.targets.iter_mut().for_each(|t| *t = place(&fruit, *t));
        }
    }
    (out, fruit)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 32, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn orders_are_complete_named_and_without_a_ring(clusters in clusters(12)) {
        let row = Row::of(&clusters);
        let list = row.sequence();
        prop_assert_eq!(list.orders.len(), clusters.iter().map(Vec::len).sum::<usize>());
        let names: BTreeMap<&str, usize> = list.orders.iter().enumerate().map(|(k, o)| (o.id.as_str(), k)).collect();
        prop_assert_eq!(names.len(), list.orders.len());
        prop_assert!(list.orders.windows(2).all(|w| w[0].seq < w[1].seq));
        let needs = list.orders.iter().enumerate();
        let edges: Vec<(u32, u32)> = needs
            .flat_map(|(k, o)| o.needs.iter().map(move |n| (n.as_str(), k)).collect::<Vec<_>>())
            .map(|(n, k)| (names[n] as u32, k as u32))
            .collect();
        prop_assert_eq!(edges.len(), clusters.iter().map(|c| c.len() - 1).sum::<usize>());
        prop_assert!(edges.iter().all(|(a, b)| a < b));
        prop_assert!(toposort(&DiGraph::<(), ()>::from_edges(&edges), None).is_ok());
        let mut targets = BTreeSet::new();
        for order in &list.orders {
            let Work::Remove { plan, keepers } = &order.work else { panic!("a look without doubt") };
            prop_assert!(plan.targets.iter().all(|t| targets.insert(*t)));
            prop_assert_eq!(keepers.len(), 1);
            prop_assert!(order.duration_s >= plan.duration_s);
        }
    }

    #[test]
    fn the_order_of_the_input_changes_nothing(clusters in clusters(10), seed in any::<u64>()) {
        let row = Row::of(&clusters);
        let (other, _) = shuffled(&row, seed);
        let (a, b) = (row.sequence(), other.sequence());
        let said = |o: &Order| (o.id.clone(), o.seq, o.stop, o.needs.clone(), o.duration_s.to_bits());
        prop_assert_eq!(a.orders.iter().map(said).collect::<Vec<_>>(), b.orders.iter().map(said).collect::<Vec<_>>());
        prop_assert_eq!(a.stats, b.stats);
    }

    #[test]
    fn travel_is_close_to_that_of_a_free_path(clusters in clusters(24)) {
        let list = Row::of(&clusters).sequence();
        let points: Vec<Vector3<f64>> = list.orders.iter().filter_map(enclose).collect();
        prop_assert!((length(&points) - list.stats.travel_m).abs() < 1e-9);
        // the precedences and the standoff positions, between which the tool really travels, cost something: a tenth at most
        prop_assert!(list.stats.travel_m <= 1.10 * two_opt(&points) + 0.05, "{} {}", list.stats.travel_m, two_opt(&points));
    }
}

#[test]
fn without_an_arm_there_are_no_orders_but_refusals() {
    let mut row = Row::of(&[vec![([0.0, 0.0, 1.0], [0.0, 0.0], None)]]);
    row.decisions.chosen[0].1.refused = vec![refusal(1), refusal(0), refusal(1)];
    let input = Input {
        map: &row.map,
        decisions: &row.decisions,
        setup: None,
        cameras: &row.cameras,
        views: &row.views,
        run_token: "",
    };
    let list = corymb_sequence::sequence(&input, &Config::default());
    assert!(list.orders.is_empty());
    assert_eq!(
        list.refusals
            .iter()
            .map(|r| r.fruitlet_idx)
            .collect::<Vec<_>>(),
        [0, 1]
    );
    let named = Input {
        setup: Some(&row.setup),
        run_token: "row7",
        ..input
    };
    assert_eq!(
        corymb_sequence::sequence(&named, &Config::default()).orders[0].id,
        "row7-cut-f001"
    );
}

#[test]
fn times_add_up() {
    // straight along x, upright tools: 0.4 m at 0.4 m/s between two removals of 1.5 s, and one second to settle
    let at = |x: f64| vec![([x, 0.0, 1.0], [0.0, 0.0], Some((0, 0)))];
    let list = Row::of(&[at(0.0), at(0.4)]).sequence();
    assert!((list.orders[0].duration_s - 1.5).abs() < 1e-12);
    assert!((list.orders[1].duration_s - 2.5).abs() < 1e-9);
    assert!((list.stats.duration_s - 5.0).abs() < 1e-9);
    assert!((list.stats.travel_m - 0.4).abs() < 1e-12);
}

#[test]
fn the_enclosed_keeper_comes_first() {
    let mut row = Row::of(&[vec![([0.0, 0.0, 1.0], [0.0, 0.0], Some((0, 0)))]]);
    let second = row.fruitlet(0, [0.01, 0.0, 1.0], Action::Keep);
    row.setup.tools[0].action = ToolAction::EncloseKeeper;
    row.decisions.chosen[0].1.removals[0].enclosed = second;
    let list = row.sequence();
    let Work::Remove { keepers, .. } = &list.orders[0].work else {
        panic!("not a removal")
    };
    assert_eq!(keepers, &[second, 0]);
}

/// A fruitlet in doubt 0.8 m in front of images taken along the row.
fn in_doubt() -> (Row, usize) {
    let mut row = Row::of(&[vec![([0.0, 0.0, 1.5], [0.0, 0.0], Some((0, 0)))]]);
    let i = row.fruitlet(0, [0.02, 0.0, 1.5], Action::LookAgain);
    row.views = (-2..=2)
        .map(|k| view(1, 0.1 * f64::from(k), -0.8, 1.5))
        .collect();
    // one image of the other camera, and one that looks elsewhere
    row.views.push(view(0, 0.0, -0.9, 1.5));
    row.views.push(view(0, 9.0, -0.9, 1.5));
    (row, i)
}

#[test]
fn a_second_look_sees_the_fruit_from_a_new_side() {
    let (row, i) = in_doubt();
    let list = row.sequence();
    let look = list.orders.last().unwrap();
    let Work::Look {
        fruitlet_idx,
        camera_idx,
        orchard_from_camera,
    } = &look.work
    else {
        panic!("not a look")
    };
    assert_eq!(
        (*fruitlet_idx, *camera_idx, look.id.as_str(), look.stop),
        (i, 1, "look-f002", Some(0))
    );
    let centre = row.map.fruitlets[i].centre;
    let p_in_camera = orchard_from_camera.inverse().apply(&centre).xyz;
    assert!(p_in_camera.xy().norm() < 1e-12);
    assert!(
        (0.79..0.83).contains(&p_in_camera.z),
        "the median distance, not {}",
        p_in_camera.z
    );
    let direction = (orchard_from_camera.origin().xyz - centre.xyz).normalize();
    let seen = |v: &(usize, corymb_model::Pose<_, _>)| {
        let recorded: Vector3<f64> = v.1.origin().xyz - centre.xyz;
        recorded.normalize().dot(&direction).acos()
    };
    let nearest = row.views.iter().take(6).map(seen).fold(f64::MAX, f64::min);
    assert!(
        nearest > 0.3,
        "no recorded direction within 0.3 rad, found {nearest}"
    );
}

#[test]
fn a_look_without_removals_gets_the_stop_that_brings_the_camera_there() {
    let (mut row, i) = in_doubt();
    let c = row.map.clusters.len();
    let mut lone = row.map.clusters[0].clone();
    lone.id = "c900".into();
    lone.members = vec![i];
    row.map.clusters.push(lone);
    row.map.fruitlets[i].cluster_idx = c;
    row.map.fruitlets[i].centre = corymb_model::Point::new(6.02, 0.0, 1.5);
    row.views = (0..5)
        .map(|k| view(1, 5.8 + 0.1 * f64::from(k), -0.8, 1.5))
        .collect();
    let list = row.sequence();
    let look = list.orders.last().unwrap();
    // stops are half a metre apart and the camera sits at the rig's origin: stop 12, or 11 or 13 for a view aside
    assert!((11..=13).contains(&look.stop.unwrap()), "{:?}", look.stop);
    row.setup.platform = None;
    assert_eq!(row.sequence().orders.last().unwrap().stop, None);
}

#[test]
fn no_image_no_look() {
    let (mut row, _) = in_doubt();
    row.views.clear();
    assert_eq!(row.sequence().orders.len(), 1);
}
