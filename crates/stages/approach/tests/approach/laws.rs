//! Laws on random clusters: orders hold what they promise, as often as they say.

use crate::execute::World;
use crate::fixture::{self, Spread, crowd, cup, guard, limb, orchard, policy, setup, wire};
use corymb_approach::{Config, Input, Sight, find_ways};
use corymb_model::arm::ArmSetup;
use corymb_model::frames::Pose;
use corymb_model::map::CropMap;
use corymb_model::orchard::OrchardModel;
use corymb_model::ways::{ClusterWays, PlannedRemoval};
use nalgebra::{Isometry3, Matrix4, Vector3};

fn find(
    map: &CropMap,
    orchard: Option<&OrchardModel>,
    setup: &ArmSetup,
    keep: usize,
) -> Vec<ClusterWays> {
    find_with(map, orchard, setup, keep, &Config::default())
}

fn find_with(
    map: &CropMap,
    orchard: Option<&OrchardModel>,
    setup: &ArmSetup,
    keep: usize,
    config: &Config,
) -> Vec<ClusterWays> {
    let policy = policy(keep);
    let input = Input {
        map,
        orchard,
        setup: Some(setup),
        policy: &policy,
        sight: Sight::default(),
    };
    find_ways(&input, config)
}

fn woods() -> OrchardModel {
    let bough = limb("bough", [-0.3, 0.018, 0.004], [0.3, 0.018, 0.004], 0.008);
    orchard(
        vec![bough],
        vec![wire("wire", [-0.5, -0.05, -0.04], [0.5, -0.05, -0.02])],
    )
}

#[test]
fn orders_meet_every_condition() {
    let woods = woods();
    let both = ArmSetup {
        tools: vec![cup(), guard()],
        ..setup(cup())
    };
    let (mut orders, mut refusals) = (0, 0);
    for seed in 0..36_u64 {
        let map = crowd(seed, 2 + (seed % 5) as usize);
        let around = (seed % 3 != 0).then_some(&woods);
        let setup = match seed % 4 {
            0 => &setup(guard()),
            1 => &both,
            _ => &setup(cup()),
        };
        for cluster in find(&map, around, setup, 2) {
            for way in &cluster.ways {
                let world = World::of(&map, around);
                assert_eq!(
                    world.carry_out(&setup.tools, way),
                    None,
                    "seed {seed} keeping {:?}",
                    way.keepers
                );
                let gone: usize = way.removals.iter().map(|r| r.targets.len()).sum();
                assert_eq!(
                    way.keepers.len() + gone + way.refused.len(),
                    map.fruitlets.len()
                );
                let product: f64 = way.removals.iter().map(|r| r.success_probability).product();
                assert!((product - way.probability).abs() < 1e-9);
                let clear = |r: &PlannedRemoval| {
                    r.clearance_m >= setup.tools[r.tool_idx].clearance_m - 1e-6
                };
                assert!(way.removals.iter().all(clear));
                orders += way.removals.len();
                refusals += way.refused.len();
            }
        }
    }
    assert!(
        orders > 500 && refusals > 50,
        "{orders} orders, {refusals} refusals"
    );
}

/// A draw of what the world may be like if the map is as unsure as it says.
fn draw(world: &World, map: &CropMap, spread: &mut Spread, shared: Vector3<f64>) -> World {
    let mut drawn = world.clone();
    let spur_error = spread.normal3() * map.clusters[0].spur_deviation_m;
    for (i, f) in map.fruitlets.iter().enumerate() {
        let sd = f.covariance_m2[(0, 0)].sqrt();
        drawn.centres[i] += spread.normal3() * sd + shared;
        drawn.radii[i] += spread.normal() * f.covariance_m2[(3, 3)].sqrt();
        let tilt = f.axis.map_or(0.0, |a| a.deviation_rad);
        let swing = spread.normal3();
        let across = swing - world.axes[i] * swing.dot(&world.axes[i]);
        drawn.axes[i] = (world.axes[i] + across * tilt).normalize();
        drawn.stems[i] = [
            drawn.centres[i] - drawn.axes[i] * world.radii[i],
            world.stems[i][1] + spur_error + shared,
        ];
    }
    drawn
}

/// Mean stated and found success over all first removals, with the place found again and without.
fn stated_and_found(shared_m: f64) -> [f64; 4] {
    const DRAWS: u32 = 60;
    let config = Config {
        stem_bow_share: 0.0,
        solid_deviation_m: 0.0,
        ..Config::default()
    };
    let mut spread = Spread(7);
    let (mut sums, mut n) = ([0.0; 4], 0.0);
    for seed in 100..130 {
        let mut map = crowd(seed, 4);
        map.clusters[0].spur_deviation_m = 0.002;
        for f in &mut map.fruitlets {
            f.covariance_m2 =
                Matrix4::from_diagonal(&[1.0, 1.0, 1.0, 0.1].map(|v| v * 1e-6).into());
            f.shared_deviation_m = shared_m;
            f.axis.iter_mut().for_each(|a| a.deviation_rad = 0.12);
        }
        let setup = setup(cup());
        let world = World::of(&map, None);
        for way in find_with(&map, None, &setup, 1, &config)
            .iter()
            .flat_map(|c| &c.ways)
        {
            let Some(first) = way.removals.first() else {
                continue;
            };
            let mut good = [0_u32; 2];
            for _ in 0..DRAWS {
                let shift = spread.normal3() * shared_m;
                for (found, shared) in good.iter_mut().zip([Vector3::zeros(), shift]) {
                    let jitter = spread.normal3() * 0.0002;
                    let pose = Isometry3::translation(jitter.x, jitter.y, jitter.z)
                        * first.orchard_from_tool.iso;
                    let moved = PlannedRemoval {
                        orchard_from_tool: Pose::from_isometry(pose),
                        ..first.clone()
                    };
                    let drawn = draw(&world, &map, &mut spread, shared);
                    *found += u32::from(drawn.fault(&setup.tools[0], &moved).is_none());
                }
            }
            let found = good.map(|g| f64::from(g) / f64::from(DRAWS));
            let told = [
                first.success_probability,
                found[0],
                first.success_probability_unlocated,
                found[1],
            ];
            sums.iter_mut().zip(told).for_each(|(s, t)| *s += t);
            n += 1.0;
        }
    }
    assert!(n > 100.0);
    sums.map(|s| s / n)
}

#[test]
fn success_comes_as_often_as_stated() {
    let [stated, found, ..] = stated_and_found(0.0);
    assert!(
        found < 0.97 && (stated - found).abs() < 0.05,
        "{stated} {found}"
    );
    let [located, found, unlocated, lost] = stated_and_found(0.004);
    assert!((located - found).abs() < 0.05, "{located} {found}");
    assert!(
        lost < found - 0.2 && (unlocated - lost).abs() < 0.05,
        "{unlocated} {lost}"
    );
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let mut map = crowd(3, 5);
    for k in 1..6 {
        let other = crowd(3 + k, 4);
        let c = fixture::cluster(&mut map, [0.1 * k as f64, 0.0, 0.0]);
        for f in &other.fruitlets {
            let at = f.centre.xyz + Vector3::x() * (0.1 * k as f64);
            fixture::fruit(&mut map, c, at.into(), f.diameter_m);
        }
    }
    let setup = setup(cup());
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| format!("{:?}", find(&map, Some(&woods()), &setup, 2)))
    };
    assert_eq!(with(1), with(4));
}

#[test]
fn a_place_further_along_the_row_has_the_same_ways() {
    let setup = setup(cup());
    for seed in 20..26 {
        let here = crowd(seed, 4);
        let mut there = here.clone();
        let step = Vector3::new(0.5, 0.25, -0.125);
        for f in &mut there.fruitlets {
            f.centre.xyz += step;
            f.spur.iter_mut().for_each(|p| p.xyz += step);
        }
        there.clusters[0].spur.xyz += step;
        let (a, b) = (find(&here, None, &setup, 1), find(&there, None, &setup, 1));
        for (x, y) in a[0].ways.iter().zip(&b[0].ways) {
            assert_eq!(x.refused.len(), y.refused.len());
            assert!(
                (x.probability - y.probability).abs() < 0.02,
                "{} {}",
                x.probability,
                y.probability
            );
        }
    }
}
