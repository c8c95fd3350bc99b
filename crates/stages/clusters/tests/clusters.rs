//! Clustering as a whole: on true bodies of simulated runs, on hand-made ones, and with evidence left out.
#![allow(clippy::unwrap_used)] // a test may fail

use corymb_clusters::{Config, Lacking, cluster, clustered};
use corymb_model::diagnostics::Diagnostics;
use corymb_model::frames::{Direction, Point};
use corymb_model::map::CropMap;
use corymb_model::orchard::{Limb, LimbKind, OrchardModel, Tree};
use corymb_model::run::{Class, Run, StatedNoise};
use corymb_model::scene::{Axis, Body, Calibration, Scene, Stem};
use corymb_simulate::{SceneSpec, Simulated, simulate, truth_as_scene};
use nalgebra::{Matrix3, Matrix4, Vector3};
use std::collections::{BTreeMap, BTreeSet};

/// The bodies of each true cluster, by position in the scene; and for each body its position in the truth.
fn true_clusters(s: &Simulated, scene: &Scene) -> (BTreeSet<Vec<usize>>, Vec<usize>) {
    let mut by_name: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut of = Vec::new();
    for (i, body) in scene.bodies.iter().enumerate() {
        let away = |k: &usize| (s.truth.fruitlets[*k].centre.xyz - body.centre.xyz).norm();
        let k = (0..s.truth.fruitlets.len())
            .min_by(|a, b| away(a).total_cmp(&away(b)))
            .unwrap();
        by_name
            .entry(&s.truth.fruitlets[k].cluster)
            .or_default()
            .push(i);
        of.push(k);
    }
    (by_name.into_values().collect(), of)
}

fn exact_share(s: &Simulated, scene: &Scene, map: &CropMap) -> f64 {
    let (truth, _) = true_clusters(s, scene);
    let right = map
        .clusters
        .iter()
        .filter(|c| truth.contains(&c.members))
        .count();
    right as f64 / truth.len() as f64
}

/// What must hold for every map.
fn check(scene: &Scene, map: &CropMap) {
    assert_eq!(map.fruitlets.len(), scene.bodies.len());
    let mut seen = vec![0; scene.bodies.len()];
    for (k, c) in map.clusters.iter().enumerate() {
        assert_eq!(c.id, format!("c{:04}", k + 1));
        assert!(!c.members.is_empty() && c.members.windows(2).all(|w| w[0] < w[1]));
        assert!((0.0..=1.0).contains(&c.probability));
        assert!(c.spur.xyz.iter().all(|x| x.is_finite()) && c.spur_deviation_m > 0.0);
        let kings: f64 = c
            .members
            .iter()
            .map(|&i| map.fruitlets[i].king_probability)
            .sum();
        assert!((0.0..=1.0 + 1e-9).contains(&kings), "{kings} kings");
        for &i in &c.members {
            seen[i] += 1;
            assert_eq!(map.fruitlets[i].cluster_idx, k);
        }
    }
    assert!(
        map.clusters
            .windows(2)
            .all(|w| w[0].members[0] < w[1].members[0])
    );
    assert!(seen.iter().all(|n| *n == 1));
    for (i, f) in map.fruitlets.iter().enumerate() {
        assert_eq!(f.id, format!("f{:04}", i + 1));
        assert!((0.0..=1.0).contains(&f.cluster_probability));
        assert!((0.0..=1.0).contains(&f.tree_probability));
        assert!(f.axis.is_some() && f.stem_top.is_some() && f.spur.is_some());
        assert!(f.detections.windows(2).all(|w| w[0].0 < w[1].0));
    }
}

#[test]
fn true_stems_give_every_cluster_limb_and_tree() {
    let s = simulate(&SceneSpec::perfect(), 31).unwrap();
    let scene = truth_as_scene(&s);
    let out = clustered(&s.run, &scene, &Config::default());
    check(&scene, &out.map);
    assert!(out.lacked.is_empty());
    assert!(out.components.iter().all(|c| c.gap == 0.0));
    assert_eq!(exact_share(&s, &scene, &out.map), 1.0);
    let (_, of) = true_clusters(&s, &scene);
    let trees = &s.run.orchard.as_ref().unwrap().trees;
    let (mut limbs, mut right_trees) = (0, 0);
    for (f, k) in out.map.fruitlets.iter().zip(&of) {
        let (c, t) = (&out.map.clusters[f.cluster_idx], &s.truth.fruitlets[*k]);
        let tree = &trees[c.tree_idx.unwrap()];
        right_trees += usize::from(tree.id == t.tree);
        limbs += usize::from(Some(&tree.limbs[c.limb_idx.unwrap()].id) == t.limb.as_ref());
    }
    assert_eq!(right_trees, of.len());
    assert!(
        limbs * 100 >= of.len() * 97,
        "{limbs} of {} limbs",
        of.len()
    );
}

#[test]
fn crowded_clusters_come_apart_by_their_stems() {
    let s = simulate(&SceneSpec::dense(), 32).unwrap();
    let scene = truth_as_scene(&s);
    let map = cluster(&s.run, &scene, &Config::default());
    check(&scene, &map);
    let share = exact_share(&s, &scene, &map);
    assert!(share > 0.95, "{share}");
}

#[test]
fn every_combination_of_missing_evidence_still_gives_a_map() {
    let s = simulate(&SceneSpec::two_trees(), 33).unwrap();
    let full = truth_as_scene(&s);
    for missing in 0u8..8 {
        let (mut run, mut scene) = (s.run.clone(), full.clone());
        let mut lacked = Vec::new();
        if missing & 1 > 0 {
            run.orchard = None;
            lacked.push(Lacking::Limbs);
        }
        for body in &mut scene.bodies {
            body.stem = body.stem.filter(|_| missing & 2 == 0);
            body.axis = body.axis.filter(|_| missing & 4 == 0);
        }
        lacked.extend((missing & 2 > 0).then_some(Lacking::Stems));
        lacked.extend((missing & 4 > 0).then_some(Lacking::Axes));
        let out = clustered(&run, &scene, &Config::default());
        check(&scene, &out.map);
        assert_eq!(out.lacked, lacked);
        let share = exact_share(&s, &scene, &out.map);
        let least = if missing & 6 == 6 { 0.2 } else { 0.9 };
        assert!(share >= least, "{share} exact without {lacked:?}");
        assert_eq!(out.map.clusters[0].tree_idx.is_none(), missing & 1 > 0);
    }
}

/// A straight limb along x, 8 mm thick.
fn run_with_limb() -> Run {
    let at = |x: f64| Point::new(x, 0.0, 1.0);
    let limb = Limb {
        id: "l".into(),
        kind: LimbKind::Limb,
        points: vec![at(-0.5), at(0.5)],
        radii_m: vec![0.004, 0.004],
    };
    let tree = Tree {
        id: "t".into(),
        row_idx: 0,
        base: Point::new(-0.5, 0.0, 0.0),
        trunk_diameter_m: None,
        limbs: vec![limb],
    };
    Run {
        name: "made".into(),
        date: String::new(),
        stage_bbch: None,
        cameras: Vec::new(),
        noise: StatedNoise::default(),
        frames: Vec::new(),
        poses: Vec::new(),
        orchard: Some(OrchardModel {
            rows: Vec::new(),
            trees: vec![tree],
            obstacles: Vec::new(),
        }),
    }
}

/// A fruit on a straight stem of 24 mm from `spur` in `direction`.
fn hung(spur: Vector3<f64>, direction: Vector3<f64>, radius_m: f64) -> Body {
    let along = direction.normalize();
    let top = spur + along * 0.024;
    Body {
        class: Class::Fruitlet,
        centre: Point::from_vector(top + along * (1.05 * radius_m)),
        radius_m,
        covariance_m2: Matrix4::identity() * 1e-7,
        shared_deviation_m: 0.0,
        existence: 0.99,
        boxes: Vec::new(),
        duplicate_boxes: Vec::new(),
        calyx_boxes: Vec::new(),
        stem_boxes: Vec::new(),
        axis: Some(Axis {
            direction: Direction::of(along).unwrap(),
            deviation_rad: 0.1,
        }),
        stem: Some(Stem {
            top: Point::from_vector(top),
            far: Point::from_vector(spur),
            far_deviation_m: 0.001,
            far_covariance_m2: Matrix3::identity() * 1e-6,
            views: 8,
        }),
    }
}

fn scene(bodies: Vec<Body>) -> Scene {
    Scene {
        views: Vec::new(),
        bodies,
        calibration: Calibration::default(),
        diagnostics: Diagnostics::default(),
        frames_left_out: 0,
        box_edge_px: 1.0,
    }
}

const SPURS: [Vector3<f64>; 2] = [
    Vector3::new(0.0, -0.012, 1.0),
    Vector3::new(0.03, -0.012, 1.0),
];

/// Two spurs 30 mm apart; the inner fruits of each hang between the other's.
fn interleaved() -> Vec<Body> {
    let towards = [
        Vector3::new(1.2, -1.0, 0.0),
        Vector3::new(-0.2, -1.0, 0.4),
        Vector3::new(0.1, -1.0, -0.6),
    ];
    let mut out: Vec<Body> = towards.iter().map(|d| hung(SPURS[0], *d, 0.007)).collect();
    out.extend(
        towards
            .iter()
            .map(|d| hung(SPURS[1], Vector3::new(-d.x, d.y, d.z), 0.007)),
    );
    out
}

#[test]
fn fruit_that_hangs_among_another_spurs_fruit_stays_with_its_own() {
    let scene = scene(interleaved());
    // the inner fruits are nearer to each other's clusters than to their own
    let at = |i: usize| scene.bodies[i].centre.xyz;
    assert!((at(0) - at(4)).norm() < (at(0) - at(1)).norm());
    let map = cluster(&run_with_limb(), &scene, &Config::default());
    check(&scene, &map);
    let members: Vec<&[usize]> = map.clusters.iter().map(|c| c.members.as_slice()).collect();
    assert_eq!(members, [&[0, 1, 2], &[3, 4, 5]]);
    for (c, spur) in map.clusters.iter().zip(SPURS) {
        assert!((c.spur.xyz - spur).norm() < 0.002, "{:?}", c.spur);
        assert_eq!((c.tree_idx, c.limb_idx), (Some(0), Some(0)));
        assert!((c.along_limb_m.unwrap() - (spur.x + 0.5)).abs() < 0.002);
    }
}

#[test]
fn the_order_of_bodies_changes_names_only() {
    let bodies = interleaved();
    let turned: Vec<Body> = bodies.iter().rev().cloned().collect();
    let parts = |bodies: Vec<Body>, name: &dyn Fn(usize) -> usize| -> BTreeSet<Vec<usize>> {
        let map = cluster(&run_with_limb(), &scene(bodies), &Config::default());
        let renamed = map.clusters.iter().map(|c| {
            let mut m: Vec<usize> = c.members.iter().map(|&i| name(i)).collect();
            m.sort_unstable();
            m
        });
        renamed.collect()
    };
    assert_eq!(parts(bodies, &|i| i), parts(turned, &|i| 5 - i));
}

#[test]
fn a_stem_of_another_fruit_does_not_part_a_fruit_from_its_cluster() {
    let mut bodies = interleaved();
    // boxes of other stems made it: it begins at the fruit and ends where nothing is
    let stem = bodies[1].stem.as_mut().unwrap();
    stem.far = Point::from_vector(stem.top.xyz + Vector3::new(0.0, -0.01, -0.022));
    let map = cluster(&run_with_limb(), &scene(bodies), &Config::default());
    assert_eq!(map.fruitlets[1].cluster_idx, map.fruitlets[2].cluster_idx);
    assert!(map.fruitlets[1].stem.is_none());
    assert!(map.fruitlets[1].cluster_probability <= map.fruitlets[2].cluster_probability);
}

#[test]
fn a_leaf_over_the_spur_hides_all_far_ends_and_the_cluster_stays_one() {
    let mut bodies: Vec<Body> = interleaved().into_iter().take(3).collect();
    for body in &mut bodies {
        let stem = body.stem.as_mut().unwrap();
        // the last ten millimetres are not seen
        let along = (stem.top.xyz - stem.far.xyz).normalize();
        stem.far = Point::from_vector(stem.far.xyz + along * 0.010);
    }
    let map = cluster(&run_with_limb(), &scene(bodies), &Config::default());
    assert_eq!(map.clusters.len(), 1);
    assert!(
        (map.clusters[0].spur.xyz - SPURS[0]).norm() < 0.006,
        "{:?}",
        map.clusters[0].spur
    );
}

#[test]
fn unsure_bodies_join_clusters_and_found_none() {
    let mut bodies = interleaved();
    bodies[1].existence = 0.2;
    let mut lone = hung(Vector3::new(0.4, -0.012, 1.0), -Vector3::y(), 0.007);
    lone.existence = 0.3;
    bodies.push(lone.clone());
    lone.centre = Point::from_vector(lone.centre.xyz + Vector3::new(0.0, 0.0, 0.001));
    bodies.push(lone);
    let scene = scene(bodies);
    let map = cluster(&run_with_limb(), &scene, &Config::default());
    check(&scene, &map);
    assert_eq!(map.fruitlets[1].cluster_idx, map.fruitlets[0].cluster_idx);
    assert_ne!(map.fruitlets[6].cluster_idx, map.fruitlets[7].cluster_idx);
    assert!(!map.fruitlets[1].is_decided());
}

#[test]
fn the_large_fruit_in_the_middle_is_the_king() {
    let around = [
        Vector3::new(1.0, -0.6, 0.2),
        Vector3::new(-1.0, -0.6, 0.1),
        Vector3::new(0.1, -0.6, 1.0),
    ];
    let mut bodies: Vec<Body> = around.iter().map(|d| hung(SPURS[0], *d, 0.007)).collect();
    bodies.push(hung(SPURS[0], -Vector3::y(), 0.0085));
    let map = cluster(&run_with_limb(), &scene(bodies), &Config::default());
    assert_eq!(map.clusters.len(), 1);
    let kings: Vec<f64> = map.fruitlets.iter().map(|f| f.king_probability).collect();
    assert!(
        kings[3] > 0.7 && kings[..3].iter().all(|k| *k < 0.1),
        "{kings:?}"
    );
}

#[test]
fn a_fruit_between_two_spurs_is_unsure() {
    let mut bodies = interleaved();
    let middle = 0.5 * (SPURS[0] + SPURS[1]);
    let mut torn = hung(middle, Vector3::new(0.0, -1.0, 1.0), 0.007);
    torn.stem = None;
    torn.axis = torn.axis.map(|a| Axis {
        deviation_rad: 0.5,
        ..a
    });
    bodies.push(torn);
    let map = cluster(&run_with_limb(), &scene(bodies), &Config::default());
    let sure = map.fruitlets[0].cluster_probability;
    let torn = map.fruitlets[6].cluster_probability;
    assert!(torn < 0.7 && sure > 0.9, "{torn} and {sure}");
}

#[test]
fn a_spur_gives_an_axis_to_fruit_without_one() {
    let mut bodies = interleaved();
    let truth = bodies[1].axis.unwrap();
    (bodies[1].axis, bodies[1].stem) = (None, None);
    let map = cluster(&run_with_limb(), &scene(bodies), &Config::default());
    let found = map.fruitlets[1].axis.unwrap();
    assert!(found.direction.xyz.dot(&truth.direction.xyz) > 0.95);
    assert!(found.deviation_rad > truth.deviation_rad);
}

#[test]
fn a_lone_fruit_is_a_cluster_of_one_and_nothing_is_nothing() {
    let one = scene(vec![hung(SPURS[0], -Vector3::y(), 0.007)]);
    let map = cluster(&run_with_limb(), &one, &Config::default());
    check(&one, &map);
    assert_eq!(map.clusters.len(), 1);
    let none = scene(Vec::new());
    let out = clustered(&run_with_limb(), &none, &Config::default());
    assert!(
        out.map.fruitlets.is_empty() && out.map.clusters.is_empty() && out.components.is_empty()
    );
}

#[test]
fn bodies_in_one_place_do_no_harm() {
    let same = hung(SPURS[0], -Vector3::y(), 0.007);
    let scene = scene(vec![same; 9]);
    let map = cluster(&run_with_limb(), &scene, &Config::default());
    check(&scene, &map);
}

#[test]
fn every_bud_is_a_cluster_of_its_own_and_sits_on_its_spur() {
    let mut bodies = interleaved();
    for body in &mut bodies {
        body.class = Class::Bud;
        body.stem = None;
    }
    let scene = scene(bodies);
    let map = cluster(&run_with_limb(), &scene, &Config::default());
    check(&scene, &map);
    assert_eq!(map.clusters.len(), scene.bodies.len());
    for (c, body) in map.clusters.iter().zip(&scene.bodies) {
        assert!((c.spur.xyz - body.centre.xyz).norm() < 1.1 * body.radius_m);
    }
}
