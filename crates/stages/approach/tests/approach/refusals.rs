//! Each reason why a fruit has no order, with its blocker and its shortfall.

use crate::fixture::{
    arm, cluster, cup, empty, fruit, guard, limb, orchard, policy, post, setup, wire,
};
use corymb_approach::{Config, Input, Sight, find_ways};
use corymb_model::arm::{ArmReach, ArmSetup, ToolSpec};
use corymb_model::frames::Direction;
use corymb_model::map::CropMap;
use corymb_model::orchard::OrchardModel;
use corymb_model::ways::{Refusal, RefusalReason, Shortfall};
use nalgebra::Vector3;

/// One fruit 30 mm below (in -y) its spur, and a second one far from it in the same cluster.
fn pair() -> CropMap {
    let mut map = empty();
    let c = cluster(&mut map, [0.0, 0.0, 0.0]);
    fruit(&mut map, c, [0.0, -0.03, 0.0], 0.014);
    fruit(&mut map, c, [0.3, 0.0, 0.0], 0.014);
    map
}

/// Why fruit 0 has no order where fruit 1 stays; `None` where it has one.
fn why(map: &CropMap, orchard: Option<&OrchardModel>, setup: &ArmSetup) -> Option<Refusal> {
    let policy = policy(1);
    let input = Input {
        map,
        orchard,
        setup: Some(setup),
        policy: &policy,
        sight: Sight::default(),
    };
    let ways = find_ways(&input, &Config::default());
    let way = ways[0].ways.iter().find(|w| w.keepers == [1]).unwrap();
    way.refused.iter().find(|r| r.fruitlet_idx == 0).cloned()
}

fn metres(refusal: &Refusal) -> f64 {
    match refusal.shortfall {
        Some(Shortfall::Metres(m)) => m,
        other => panic!("{other:?}"),
    }
}

#[test]
fn nothing_in_the_way_is_no_refusal() {
    assert_eq!(why(&pair(), None, &setup(cup())), None);
}

#[test]
fn no_axis() {
    let mut map = pair();
    map.fruitlets[0].axis = None;
    // the spur tells the axis
    assert_eq!(why(&map, None, &setup(cup())), None);
    // but not where it is not known itself
    map.clusters[0].spur_deviation_m = 0.02;
    let refusal = why(&map, None, &setup(cup())).unwrap();
    assert_eq!(
        (refusal.reason, refusal.shortfall),
        (RefusalReason::NoAxis, None)
    );
    map.fruitlets[0].spur = Some(map.fruitlets[0].centre);
    assert_eq!(
        why(&map, None, &setup(cup())).unwrap().reason,
        RefusalReason::NoAxis
    );
}

#[test]
fn too_large() {
    let mut map = pair();
    map.fruitlets[0].diameter_m = 0.035;
    let refusal = why(&map, None, &setup(cup())).unwrap();
    assert_eq!(refusal.reason, RefusalReason::TooLarge);
    assert!((metres(&refusal) - 0.003).abs() < 1e-12);
    // a shallow cup: 14 mm of fruit behind a plane 3 mm deep in 12 mm
    let shallow = ToolSpec {
        length_m: 0.012,
        ..cup()
    };
    let refusal = why(&pair(), None, &setup(shallow)).unwrap();
    assert_eq!(refusal.reason, RefusalReason::TooLarge);
    assert!((metres(&refusal) - 0.005).abs() < 1e-12);
}

#[test]
fn stem_too_short() {
    let mut map = pair();
    // 4 mm from centre to spur for a fruit of 7 mm radius: the plane cannot pass between
    let spur = map.fruitlets[0].centre.xyz + Vector3::y() * 0.004;
    map.fruitlets[0].spur = Some(corymb_model::Point::from_vector(spur));
    let refusal = why(&map, None, &setup(cup())).unwrap();
    assert_eq!(refusal.reason, RefusalReason::StemTooShort);
    assert!((metres(&refusal) - 0.003).abs() < 3e-4, "{refusal:?}");
}

#[test]
fn blocked_by_fruit() {
    let mut map = pair();
    let other = cluster(&mut map, [0.0, -0.2, 0.0]);
    fruit(&mut map, other, [0.0, -0.06, 0.0], 0.014);
    let refusal = why(&map, None, &setup(cup())).unwrap();
    assert_eq!(refusal.reason, RefusalReason::BlockedByFruit);
    assert_eq!(refusal.blocked_by, ["f2"]);
    assert!(metres(&refusal) > 0.001, "{refusal:?}");
}

#[test]
fn cuts_other_stem() {
    // another fruit far behind the tool's reach whose stem runs through the opening from the same place
    let mut map = pair();
    map.fruitlets[1].centre.xyz = Vector3::new(0.0, -0.25, 0.0);
    map.fruitlets[1].spur = Some(corymb_model::Point::new(0.0, -0.012, 0.0));
    map.fruitlets[1].stem_top = Some(corymb_model::Point::new(0.0, -0.24, 0.0));
    let refusal = why(&map, None, &setup(cup())).unwrap();
    assert_eq!(refusal.reason, RefusalReason::CutsOtherStem);
    assert_eq!(refusal.blocked_by, ["f1"]);
}

#[test]
fn blocked_by_limb_and_obstacle() {
    let map = pair();
    let across = orchard(
        vec![limb("bough", [-0.3, -0.02, 0.0], [0.3, -0.02, 0.0], 0.006)],
        vec![],
    );
    let refusal = why(&map, Some(&across), &setup(cup())).unwrap();
    assert_eq!(
        (refusal.reason, refusal.blocked_by.as_slice()),
        (RefusalReason::BlockedByLimb, &["bough".to_owned()][..])
    );
    let at = |id: &str, z: f64| wire(id, [-0.3, -0.08, z], [0.3, -0.08, z]);
    // past one wire the tool can tilt, between three it cannot
    let one = orchard(vec![], vec![at("wire", 0.0)]);
    assert_eq!(why(&map, Some(&one), &setup(cup())), None);
    let three = vec![at("low", -0.025), at("mid", 0.0), at("high", 0.025)];
    let refusal = why(&map, Some(&orchard(vec![], three)), &setup(cup())).unwrap();
    assert_eq!(refusal.reason, RefusalReason::BlockedByObstacle);
    assert!(!refusal.blocked_by.is_empty() && metres(&refusal) > 0.0);
    let walled = orchard(
        vec![],
        vec![post("wall", [0.0, -0.1, 0.0], [0.6, 0.02, 0.6])],
    );
    let refusal = why(&map, Some(&walled), &setup(cup())).unwrap();
    assert_eq!(
        (refusal.reason, refusal.blocked_by),
        (RefusalReason::BlockedByObstacle, vec!["wall".to_owned()])
    );
    let aside = orchard(
        vec![],
        vec![post("wall", [0.2, -0.1, 0.0], [0.1, 0.02, 0.6])],
    );
    assert_eq!(why(&map, Some(&aside), &setup(cup())), None);
}

#[test]
fn out_of_reach() {
    let mut low = arm();
    if let ArmReach::Cartesian { high_m, .. } = &mut low.reach {
        high_m.z = -0.05;
    }
    let far = ArmSetup {
        arms: vec![low],
        ..setup(cup())
    };
    let refusal = why(&pair(), None, &far).unwrap();
    assert_eq!(refusal.reason, RefusalReason::OutOfReach);
    // the tool may come from below by its tolerance, but its tip stays near the fruit
    assert!((0.02..0.05).contains(&metres(&refusal)), "{refusal:?}");
    // a second arm that reaches is enough
    let two = ArmSetup {
        arms: vec![far.arms[0].clone(), arm()],
        ..far.clone()
    };
    assert_eq!(why(&pair(), None, &two), None);
}

#[test]
fn cannot_point_that_way() {
    let mut stiff = arm();
    if let ArmReach::Cartesian {
        reach_direction,
        reach_within_rad,
        ..
    } = &mut stiff.reach
    {
        *reach_direction = Direction::of(Vector3::new(0.0, 0.0, -1.0));
        *reach_within_rad = Some(0.2);
    }
    let setup = ArmSetup {
        arms: vec![stiff],
        ..setup(cup())
    };
    let refusal = why(&pair(), None, &setup).unwrap();
    assert_eq!(refusal.reason, RefusalReason::ReachDirection);
    // 90 degrees away, 30 by tilting, 0.2 allowed
    let Some(Shortfall::Radians(short)) = refusal.shortfall else {
        panic!("{refusal:?}")
    };
    assert!(
        (short - (60_f64.to_radians() - 0.2)).abs() < 0.02,
        "{short}"
    );
}

#[test]
fn the_blade_does_not_reach() {
    // the stem of fruit 0 is 0.3 m from the keeper
    let refusal = why(&pair(), None, &setup(guard())).unwrap();
    assert_eq!(
        (refusal.reason, refusal.shortfall),
        (RefusalReason::BladeMissesStem, None)
    );
    // a stem that leads straight ahead of the keeper's passes through the cup, not the ring
    let mut map = pair();
    map.fruitlets[1].centre.xyz = Vector3::new(0.0, -0.06, 0.0);
    let stub = ToolSpec {
        cut_reach_m: 0.002,
        ..guard()
    };
    let refusal = why(&map, None, &setup(stub)).unwrap();
    assert_eq!(refusal.reason, RefusalReason::BladeMissesStem);
    assert!(metres(&refusal) > 0.001, "{refusal:?}");
}

#[test]
fn too_unlikely() {
    let mut map = pair();
    map.fruitlets[0].covariance_m2 = nalgebra::Matrix4::identity() * 0.02 * 0.02;
    let refusal = why(&map, None, &setup(cup())).unwrap();
    assert_eq!(
        (refusal.reason, refusal.shortfall),
        (RefusalReason::TooUnlikely, None)
    );
}
