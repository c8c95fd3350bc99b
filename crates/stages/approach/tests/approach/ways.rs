//! What ways a cluster has.

use crate::fixture::{cluster, crowd, cup, empty, fruit, guard, policy, setup};
use corymb_approach::{Config, Input, Sight, find_ways};
use corymb_model::arm::{ArmReach, ArmSetup};
use corymb_model::frames::{CameraFrame, Orchard, Pose};
use corymb_model::map::CropMap;
use corymb_model::policy::{Pin, PinAs, Pinned, Policy};
use corymb_model::run::{Camera, Class, Distortion};
use corymb_model::ways::{ClusterWays, RefusalReason, Way};
use nalgebra::{Isometry3, UnitQuaternion, Vector3};

fn find(map: &CropMap, setup: Option<&ArmSetup>, policy: &Policy) -> Vec<ClusterWays> {
    let input = Input {
        map,
        orchard: None,
        setup,
        policy,
        sight: Sight::default(),
    };
    find_ways(&input, &Config::default())
}

fn keeping<'a>(ways: &'a [ClusterWays], keepers: &[usize]) -> &'a Way {
    ways.iter()
        .flat_map(|c| &c.ways)
        .find(|w| w.keepers == keepers)
        .unwrap()
}

/// Three fruit below a spur: 0 hangs in front of 1 (seen along 1's axis), 2 far to the side.
fn queue() -> CropMap {
    let mut map = empty();
    let c = cluster(&mut map, [0.0, 0.0, 0.0]);
    fruit(&mut map, c, [0.0, -0.045, 0.0], 0.014);
    fruit(&mut map, c, [0.0, -0.027, 0.0], 0.014);
    fruit(&mut map, c, [0.035, 0.0, 0.0], 0.014);
    map
}

#[test]
fn what_is_gone_opens_the_way_to_the_next() {
    let (map, setup) = (queue(), setup(cup()));
    let ways = find(&map, Some(&setup), &policy(1));
    let way = keeping(&ways, &[2]);
    let order: Vec<&[usize]> = way.removals.iter().map(|r| r.targets.as_slice()).collect();
    assert_eq!(order, [&[0_usize][..], &[1]]);
    assert!(way.refused.is_empty() && way.probability > 0.8);
    // where 0 stays, 1 cannot be had
    let way = keeping(&ways, &[0]);
    assert_eq!(way.refused.len(), 1);
    assert_eq!(way.refused[0].fruitlet_idx, 1);
    assert_eq!(way.refused[0].reason, RefusalReason::BlockedByFruit);
    assert_eq!(way.refused[0].blocked_by, ["f0"]);
    assert_eq!(way.removals.len(), 1);
    assert_eq!(way.removals[0].targets, [2]);
}

#[test]
fn without_a_tool_the_ways_are_all_choices() {
    let ways = find(&crowd(1, 4), None, &policy(2));
    assert_eq!(ways.len(), 1);
    assert_eq!(ways[0].ways.len(), 1 + 4 + 6);
    for way in &ways[0].ways {
        assert!(way.removals.is_empty() && way.refused.is_empty());
        assert!((way.probability, way.duration_s) == (1.0, 0.0));
        let mut all = [way.keepers.clone(), way.removed_without_tool.clone()].concat();
        all.sort_unstable();
        assert_eq!(all, [0, 1, 2, 3]);
    }
    let tools = ArmSetup {
        tools: Vec::new(),
        ..setup(cup())
    };
    assert_eq!(
        find(&crowd(1, 4), Some(&tools), &policy(2))[0].ways.len(),
        11
    );
}

#[test]
fn nothing_comes_of_nothing() {
    assert!(find(&empty(), Some(&setup(cup())), &policy(1)).is_empty());
    let mut map = crowd(1, 2);
    map.fruitlets.iter_mut().for_each(|f| f.existence = 0.4);
    assert!(find(&map, Some(&setup(cup())), &policy(1)).is_empty());
    // decided, but too unsure to act on: one way, and nothing happens in it
    map.fruitlets[0].existence = 0.6;
    let ways = find(&map, Some(&setup(cup())), &policy(1));
    assert_eq!(ways[0].ways.len(), 1);
    assert!(ways[0].ways[0].keepers.is_empty() && ways[0].ways[0].removals.is_empty());
}

#[test]
fn unsure_fruit_is_no_target_but_in_the_way() {
    let (mut map, setup) = (queue(), setup(cup()));
    map.fruitlets[0].cluster_probability = 0.6;
    let ways = find(&map, Some(&setup), &policy(1));
    assert_eq!(ways[0].ways.len(), 3);
    for way in &ways[0].ways {
        assert!(!way.keepers.contains(&0) && way.removals.iter().all(|r| !r.targets.contains(&0)));
    }
    assert_eq!(keeping(&ways, &[2]).refused[0].blocked_by, ["f0"]);
    // a doubtful landmark forbids nothing, but lowers the odds by as much as it is likely
    map.fruitlets[0].existence = 0.4;
    let way = keeping(&find(&map, Some(&setup), &policy(1)), &[2]).clone();
    assert!(way.refused.is_empty());
    assert!((way.probability - 0.6).abs() < 0.1, "{}", way.probability);
}

#[test]
fn other_classes_go_without_a_tool() {
    let (mut map, setup) = (crowd(1, 3), setup(cup()));
    map.fruitlets
        .iter_mut()
        .for_each(|f| f.class = Class::Flower);
    for way in &find(&map, Some(&setup), &policy(1))[0].ways {
        assert_eq!(way.keepers.len() + way.removed_without_tool.len(), 3);
        assert!(way.removals.is_empty());
    }
}

#[test]
fn a_pin_may_ask_for_more_to_stay() {
    let pin = Pin {
        what: Pinned::Fruitlet("f1".to_owned()),
        as_: PinAs::Keep,
    };
    let pinned = Policy {
        pins: vec![pin],
        ..policy(1)
    };
    assert_eq!(find(&crowd(1, 3), None, &pinned)[0].ways.len(), 8);
    let pin = Pin {
        what: Pinned::Fruitlet("elsewhere".to_owned()),
        as_: PinAs::Keep,
    };
    let pinned = Policy {
        pins: vec![pin],
        ..policy(1)
    };
    assert_eq!(find(&crowd(1, 3), None, &pinned)[0].ways.len(), 4);
}

#[test]
fn the_guard_cuts_all_others_at_once() {
    // the keeper hangs ahead, two others beside it whose stems spread sideways
    let mut map = empty();
    let c = cluster(&mut map, [0.0, 0.0, 0.0]);
    fruit(&mut map, c, [0.0, -0.03, 0.0], 0.012);
    fruit(&mut map, c, [0.032, -0.012, 0.0], 0.012);
    fruit(&mut map, c, [-0.032, -0.012, 0.0], 0.012);
    let setup = setup(guard());
    let ways = find(&map, Some(&setup), &policy(1));
    let way = keeping(&ways, &[0]);
    assert_eq!(way.removals.len(), 1, "{:?}", way.refused);
    assert_eq!(
        (way.removals[0].enclosed, way.removals[0].targets.as_slice()),
        (0, &[1, 2][..])
    );
    // with nobody to guard the tool does nothing
    let way = keeping(&ways, &[]);
    assert!(way.removals.is_empty());
    assert!(
        way.refused
            .iter()
            .all(|r| r.reason == RefusalReason::NoKeeper)
    );
    assert_eq!(way.refused.len(), 3);
    // with a cup as well, each removal takes the tool that does better
    let both = ArmSetup {
        tools: vec![cup(), guard()],
        ..setup.clone()
    };
    let mixed = find(&map, Some(&both), &policy(1));
    assert_eq!(keeping(&mixed, &[]).removals.len(), 3);
    assert!(keeping(&mixed, &[0]).probability >= keeping(&ways, &[0]).probability - 1e-9);
}

#[test]
fn a_cluster_too_large_to_search_states_its_gap() {
    let mut map = empty();
    let c = cluster(&mut map, [0.0, 0.0, 0.0]);
    for k in 0..10 {
        let angle = f64::from(k) * 0.6;
        fruit(
            &mut map,
            c,
            [0.12 * angle.cos(), -0.05, 0.12 * angle.sin()],
            0.012,
        );
    }
    let ways = find(&map, Some(&setup(cup())), &policy(0));
    let gap = ways[0].gap.unwrap();
    let way = keeping(&ways, &[]);
    assert_eq!((gap.removals, way.refused.len()), (0, 0));
    assert!(gap.probability_factor >= 1.0 && gap.probability_factor * way.probability < 1.0 + 1e-9);
    assert_eq!(
        find(&map, Some(&setup(cup())), &policy(10))[0].ways.len(),
        1024
    );
    let few = crowd(1, 4);
    assert_eq!(find(&few, Some(&setup(cup())), &policy(1))[0].gap, None);
}

#[test]
fn beyond_all_limits_fruit_is_refused() {
    let mut map = empty();
    let c = cluster(&mut map, [0.0, 0.0, 0.0]);
    for k in 0..70 {
        fruit(
            &mut map,
            c,
            [0.05 * f64::from(k % 10), -0.03, 0.05 * f64::from(k / 10)],
            0.01,
        );
    }
    let ways = find(&map, Some(&setup(cup())), &policy(0));
    let too_many = ways[0].ways[0]
        .refused
        .iter()
        .filter(|r| r.reason == RefusalReason::ClusterTooLarge)
        .count();
    assert_eq!(too_many, 70 - corymb_approach::MEMBERS_AT_MOST);
}

#[test]
fn what_is_not_checked_is_said() {
    let map = crowd(1, 2);
    let not_checked = |setup: &ArmSetup| {
        let ways = find(&map, Some(setup), &policy(1));
        let removal = ways[0]
            .ways
            .iter()
            .flat_map(|w| &w.removals)
            .next()
            .unwrap()
            .clone();
        (
            removal.reach_checked,
            removal.arm_idx,
            removal.stops,
            removal.not_checked.join("; "),
        )
    };
    let full = setup(cup());
    let (checked, arm_idx, stops, text) = not_checked(&full);
    assert!(checked && arm_idx == Some(0) && text.contains("leaves") && !text.contains("reach"));
    assert!(stops.is_some_and(|(a, b)| a <= 0 && b >= 0));
    for broken in [
        ArmSetup {
            arms: Vec::new(),
            ..full.clone()
        },
        ArmSetup {
            platform: None,
            ..full.clone()
        },
    ] {
        let (checked, arm_idx, stops, text) = not_checked(&broken);
        assert!(
            !checked && arm_idx.is_none() && stops.is_none() && text.contains("reach"),
            "{text}"
        );
    }
    let mut chain = full.clone();
    chain.arms[0].reach = ArmReach::Chain {
        urdf: "arm.urdf".to_owned(),
        base_link: "a".to_owned(),
        tool_link: "b".to_owned(),
        joint_speed_rad_s: 1.0,
    };
    assert!(not_checked(&chain).3.contains("joint reach of the chain"));
    let mut bodied = full;
    let behind = corymb_model::frames::Point::new(0.0, 0.0, -0.1);
    bodied.tools[0].body.push(corymb_model::arm::ToolCapsule {
        a: behind,
        b: behind,
        radius_m: 0.03,
    });
    assert!(not_checked(&bodied).3.contains("body of the tool"));
}

fn camera() -> Camera {
    Camera {
        id: "front".to_owned(),
        width_px: 800,
        height_px: 600,
        focal_px: [600.0, 600.0],
        principal_px: [400.0, 300.0],
        distortion: Distortion::None,
        rig_from_camera: Pose::identity(),
    }
}

#[test]
fn space_that_no_camera_saw_is_told() {
    let (map, setup, policy, cameras) = (crowd(1, 2), setup(cup()), policy(1), [camera()]);
    // looks along orchard +y at the cluster from 0.6 m in front
    let turn = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -std::f64::consts::FRAC_PI_2);
    let view = |y: f64| {
        let pose = Isometry3::from_parts(Vector3::new(0.0, y, 0.0).into(), turn);
        (0, Pose::<Orchard, CameraFrame>::from_isometry(pose))
    };
    let share = |views: &[(usize, Pose<Orchard, CameraFrame>)], orchard| {
        let sight = Sight {
            cameras: &cameras,
            views,
        };
        let input = Input {
            map: &map,
            orchard,
            setup: Some(&setup),
            policy: &policy,
            sight,
        };
        let ways = find_ways(&input, &Config::default());
        ways[0]
            .ways
            .iter()
            .flat_map(|w| &w.removals)
            .map(|r| r.unseen_share)
            .collect::<Vec<_>>()
    };
    assert!(share(&[], None).iter().all(Option::is_none));
    assert!(
        share(&[view(-0.6)], None)
            .iter()
            .all(|s| s.is_some_and(|s| s < 0.35))
    );
    // a camera that has the cluster at its back
    assert!(share(&[view(0.6)], None).iter().all(|s| *s == Some(1.0)));
    let wall = crate::fixture::orchard(
        vec![],
        vec![crate::fixture::post(
            "wall",
            [0.0, -0.4, 0.0],
            [2.0, 0.02, 2.0],
        )],
    );
    assert!(
        share(&[view(-0.6)], Some(&wall))
            .iter()
            .all(|s| *s == Some(1.0))
    );
}
