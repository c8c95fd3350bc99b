//! Orders carried out on true geometry: each condition of a good order, broken alone.

use crate::orchard::{BEHIND_RIM, Scene, cup_below, plain};
use corymb_model::arm::{ArmReach, ToolAction};
use corymb_model::frames::{BoxFrame, Direction, Orchard, Point, Pose};
use corymb_model::orchard::{Limb, LimbKind, Obstacle, ObstacleShape, OrchardModel};
use corymb_score::OrderScores;
use corymb_score::figure::Share;
use nalgebra::{Isometry3, UnitQuaternion, Vector3};

/// One cluster of three: the first stays, the others are ordered, the second first.
fn scene() -> Scene {
    Scene::new(&[vec![vec![plain(3); 3]]], 0)
}

fn carried_out(scene: &Scene) -> OrderScores {
    let scores = scene.score();
    scores
        .absolute
        .figures()
        .unwrap()
        .orders
        .figures()
        .unwrap()
        .clone()
}

fn counts(share: &Share) -> (usize, usize) {
    (share.num, share.den)
}

/// Moves the tool of the first order by `by`, metres, tool frame.
fn move_tool(scene: &mut Scene, by: Vector3<f64>) {
    let plan = scene.plan(0);
    plan.orchard_from_tool.iso.translation.vector += by;
    plan.orchard_from_tool_cut = plan.orchard_from_tool;
}

#[test]
fn orders_that_repeat_the_truth_are_good() {
    let got = carried_out(&scene());
    assert_eq!(counts(&got.good), (2, 2));
    assert_eq!(counts(&got.clusters_right), (1, 1));
    assert_eq!(counts(&got.excess_removed), (2, 2));
    assert_eq!(counts(&got.decided_and_done), (2, 2));
    assert_eq!(
        (got.repeated, got.needs_broken, got.out_of_sequence),
        (0, 0, 0)
    );
}

/// The cup is 16 mm inside, the fruit 10: it fits with up to 6 mm to the side.
#[test]
fn the_fruit_must_fit_inside() {
    let mut scene = scene();
    move_tool(&mut scene, Vector3::new(0.0059, 0.0, 0.0));
    assert_eq!(counts(&carried_out(&scene).enclosed), (2, 2));
    move_tool(&mut scene, Vector3::new(0.0002, 0.0, 0.0));
    let got = carried_out(&scene);
    assert_eq!(counts(&got.enclosed), (1, 2));
    assert_eq!(counts(&got.good), (1, 2));
    // its stem is cut all the same
    assert_eq!(counts(&got.targets_cut), (2, 2));
}

/// The top of the fruit lies 5 mm behind the rim and must lie 3 mm behind; its bottom 25 mm of 60.
#[test]
fn the_fruit_must_lie_behind_the_blade_and_before_the_bottom() {
    let enclosed = |dz: f64| {
        let mut scene = scene();
        move_tool(&mut scene, Vector3::new(0.0, 0.0, dz));
        counts(&carried_out(&scene).enclosed)
    };
    assert_eq!(enclosed(0.003 - BEHIND_RIM + 1e-5), (2, 2));
    assert_eq!(enclosed(0.003 - BEHIND_RIM - 1e-5), (1, 2));
    let room = 0.06 - (BEHIND_RIM + 0.02);
    assert_eq!(enclosed(room - 1e-5), (2, 2));
    assert_eq!(enclosed(room + 1e-5), (1, 2));
}

/// With the tool 23 mm further the blade is 25 mm above the top of the fruit, where the spur is.
#[test]
fn the_spur_must_lie_in_front_of_the_blade() {
    let crosses = |dz: f64| {
        let mut scene = scene();
        scene.run.orchard = Some(OrchardModel::default());
        move_tool(&mut scene, Vector3::new(0.0, 0.0, dz));
        counts(&carried_out(&scene).stem_crosses)
    };
    assert_eq!(crosses(0.023 - 1e-5), (2, 2));
    assert_eq!(crosses(0.023 + 1e-5), (1, 2));
}

#[test]
fn the_tilt_is_measured_against_the_true_axis() {
    let tilted = |deg: f64| {
        let mut scene = scene();
        let target = scene.plan(0).targets[0];
        let (sin, cos) = deg.to_radians().sin_cos();
        scene.truth.fruitlets[target].axis = Direction::of(Vector3::new(sin, 0.0, -cos)).unwrap();
        carried_out(&scene)
    };
    assert_eq!(counts(&tilted(29.9).good), (2, 2));
    let over = tilted(30.1);
    assert_eq!(counts(&over.good), (1, 2));
    assert_eq!(counts(&over.tilt_ok), (1, 2));
    assert!((over.tilt_deg.max.unwrap() - 30.1).abs() < 1e-9);
}

/// A neighbour, of a cluster of its own, stands `gap` from the wall of the cup at `below` the target.
fn with_neighbour(gap: f64, below: f64) -> Scene {
    let mut scene = Scene::new(&[vec![vec![plain(3); 2], vec![plain(3)]]], 0);
    let target = scene.plan(0).targets[0];
    let by = Vector3::new(0.018 + 0.01 + gap, 0.0, -below);
    let centre = scene.truth.fruitlets[target].centre.xyz + by;
    scene.truth.fruitlets[2].centre = Point::from_vector(centre);
    scene.map.fruitlets[2].centre = Point::from_vector(centre);
    scene
}

#[test]
fn no_other_fruit_may_be_touched_on_the_whole_way() {
    for below in [0.0, 0.05, 0.1, 0.125] {
        assert_eq!(
            counts(&carried_out(&with_neighbour(1e-5, below)).touched),
            (0, 1),
            "{below}"
        );
        let got = carried_out(&with_neighbour(-1e-5, below));
        assert_eq!(counts(&got.touched), (1, 1), "{below}");
        assert_eq!(counts(&got.hurt_kept), (1, 1), "{below}");
        assert_eq!(counts(&got.good), (0, 1), "{below}");
    }
    // the far end of the cup at standoff is 60 + 80 mm behind the rim, 125 mm below the centre of the target
    assert_eq!(
        counts(&carried_out(&with_neighbour(-0.005, 0.14)).touched),
        (0, 1)
    );
}

/// What was cut is gone: a neighbour that is in the way of the second order hinders it unless it went first.
#[test]
fn what_was_removed_is_gone_for_the_next() {
    let mut scene = scene();
    let (first, second) = (scene.plan(0).targets[0], scene.plan(1).targets[0]);
    let aside = scene.truth.fruitlets[second].centre.xyz + Vector3::new(0.02, 0.0, 0.0);
    let by = aside - scene.truth.fruitlets[first].centre.xyz;
    let moved = |p: Point<Orchard>| Point::from_vector(p.xyz + by);
    let fruit = &mut scene.truth.fruitlets[first];
    (fruit.centre, fruit.stem_top, fruit.spur) = (
        moved(fruit.centre),
        moved(fruit.stem_top),
        moved(fruit.spur),
    );
    scene.map.fruitlets[first].centre = Point::from_vector(aside);
    let pose = cup_below(aside, 0.02);
    scene.plan(0).orchard_from_tool = pose;
    scene.plan(0).orchard_from_tool_cut = pose;
    // the two are so near that each is in the way of the other: the first order touches, and cuts the first all the same
    let got = carried_out(&scene);
    assert_eq!(counts(&got.touched), (1, 2));
    assert_eq!(counts(&got.good), (1, 2));
    // both are aimed at, so nothing that was to stay is hurt
    assert_eq!(counts(&got.hurt_kept), (0, 2));
    scene.tasks.orders.swap(0, 1);
    let got = carried_out(&scene);
    assert_eq!((got.needs_broken, got.out_of_sequence), (1, 1));
}

#[test]
fn another_stem_in_the_cup_is_cut() {
    let mut scene = Scene::new(&[vec![vec![plain(3); 2], vec![plain(3)]]], 0);
    let target = scene.plan(0).targets[0];
    // the neighbour hangs aside, its stem comes from right above the target
    let spur = scene.truth.fruitlets[target].spur.xyz;
    let neighbour = &mut scene.truth.fruitlets[2];
    neighbour.spur = Point::from_vector(spur);
    neighbour.stem_top = Point::from_vector(spur + Vector3::new(0.04, 0.0, -0.04));
    let got = carried_out(&scene);
    // it crosses the blade, 22 mm below the spur, 22 mm to the side: outside
    assert_eq!(counts(&got.cut_other), (0, 1));
    scene.truth.fruitlets[2].stem_top = Point::from_vector(spur + Vector3::new(0.02, 0.0, -0.04));
    let got = carried_out(&scene);
    assert_eq!(counts(&got.cut_other), (1, 1));
    assert_eq!(counts(&got.hurt_kept), (1, 1));
    assert_eq!(counts(&got.good), (0, 1));
    // the cluster that was to be thinned is right all the same
    assert_eq!(counts(&got.clusters_right), (1, 1));
}

/// A limb across the way, its bark `gap` from the wall of the cup at the standoff pose.
fn with_limb(gap: f64) -> Scene {
    let mut scene = scene();
    let c = scene.plan(0).orchard_from_tool.iso.translation.vector;
    let x = c.x + 0.018 + 0.004 + gap;
    let at = |y: f64| Point::<Orchard>::new(x, y, c.z - 0.1);
    let limb = Limb {
        id: "across".to_owned(),
        kind: LimbKind::Limb,
        points: vec![at(c.y - 0.3), at(c.y + 0.3)],
        radii_m: vec![0.004, 0.004],
    };
    scene.run.orchard.as_mut().unwrap().trees[0]
        .limbs
        .push(limb);
    scene
}

#[test]
fn a_limb_in_the_way_stops_the_tool() {
    assert_eq!(counts(&carried_out(&with_limb(1e-5)).hits_limb), (0, 2));
    let got = carried_out(&with_limb(-1e-5));
    // the limb lies across both orders
    assert_eq!(counts(&got.hits_limb), (2, 2));
    assert_eq!(counts(&got.good), (0, 2));
    // nothing was cut
    assert_eq!(counts(&got.clusters_right), (0, 1));
    assert_eq!(counts(&got.excess_removed), (0, 2));
}

/// Limbs as they truly are count, not as the run states them.
#[test]
fn the_true_orchard_holds_where_it_is_given() {
    let scene = with_limb(-0.001);
    let free = Scene::new(&[vec![vec![plain(3); 3]]], 0)
        .run
        .orchard
        .unwrap();
    let input = corymb_score::ScoreInput {
        true_orchard: Some(&free),
        ..scene.input()
    };
    let scores = corymb_score::score(&input);
    let orders = scores.absolute.figures().unwrap().orders.figures().unwrap();
    assert_eq!(counts(&orders.good), (2, 2));
}

#[test]
fn wires_and_boxes_are_obstacles() {
    let hit = |shape: ObstacleShape| {
        let mut scene = scene();
        let orchard = scene.run.orchard.as_mut().unwrap();
        orchard.obstacles.push(Obstacle {
            id: "it".to_owned(),
            shape,
        });
        counts(&carried_out(&scene).hits_obstacle)
    };
    let c = scene().plan(0).orchard_from_tool.iso.translation.vector;
    let wire = |gap: f64| {
        let at = |x: f64| Point::new(c.x + x, c.y - 0.018 - 0.002 - gap, c.z - 0.05);
        ObstacleShape::Capsule {
            a: at(-1.0),
            b: at(1.0),
            radius_m: 0.002,
        }
    };
    assert_eq!(hit(wire(1e-4)), (0, 2));
    assert_eq!(hit(wire(-1e-4)), (1, 2));
    // a post, turned by 30 degrees about z: 18 mm of cup and 25 mm of half edge apart along its own x
    let post = |gap: f64| {
        let turn = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), std::f64::consts::FRAC_PI_6);
        let off = turn * Vector3::new(-0.018 - 0.025 - gap, 0.0, 0.0);
        let iso = Isometry3::from_parts((c + off).into(), turn);
        let orchard_from_box = Pose::<Orchard, BoxFrame>::from_isometry(iso);
        ObstacleShape::Box {
            orchard_from_box,
            size_m: [0.05, 0.05, 4.0],
        }
    };
    assert_eq!(hit(post(1e-4)), (0, 2));
    assert_eq!(hit(post(-1e-4)), (1, 2));
}

#[test]
fn an_order_for_fruit_that_is_not_there() {
    let mut scene = scene();
    scene.map.fruitlets[1].centre.xyz.y -= 0.2;
    let got = carried_out(&scene);
    assert_eq!(counts(&got.aimed_at_fruit), (1, 2));
    assert_eq!(counts(&got.good), (1, 2));
    let scores = scene.score();
    let decisions = scores
        .absolute
        .figures()
        .unwrap()
        .decisions
        .figures()
        .unwrap()
        .clone();
    assert_eq!(counts(&decisions.removals_of_nothing), (1, 2));
}

#[test]
fn a_second_order_for_the_same_fruit_finds_nothing() {
    let mut scene = scene();
    let again = scene.tasks.orders[0].clone();
    scene.tasks.orders.push(again);
    let got = carried_out(&scene);
    assert_eq!((got.repeated, got.out_of_sequence), (1, 1));
    assert_eq!(counts(&got.good), (2, 3));
}

#[test]
fn decided_removals_need_an_order_or_a_refusal() {
    let mut scene = scene();
    scene.tasks.orders.pop();
    let got = carried_out(&scene);
    assert_eq!(got.neither_ordered_nor_refused, 1);
    assert_eq!(counts(&got.decided_and_done), (1, 2));
    assert_eq!(counts(&got.clusters_right), (0, 1));
}

#[test]
fn reach_is_checked_at_standoff_too() {
    let mut scene = scene();
    let z = scene.plan(0).orchard_from_tool.iso.translation.vector.z;
    let set_low = |scene: &mut Scene, z: f64| match &mut scene.setup.arms[0].reach {
        ArmReach::Cartesian { low_m, .. } => low_m.z = z,
        ArmReach::Chain { .. } => panic!("not a chain"),
    };
    set_low(&mut scene, z - 0.0801);
    assert_eq!(counts(&carried_out(&scene).in_reach), (2, 2));
    set_low(&mut scene, z - 0.0799);
    assert_eq!(counts(&carried_out(&scene).in_reach), (0, 2));
    scene.plan(0).arm_idx = None;
    assert_eq!(counts(&carried_out(&scene).in_reach), (0, 1));
}

#[test]
fn the_arm_may_be_unable_to_point_that_way() {
    let within = |deg: f64| {
        let mut scene = scene();
        match &mut scene.setup.arms[0].reach {
            ArmReach::Cartesian {
                reach_direction,
                reach_within_rad,
                ..
            } => {
                *reach_direction = Direction::of(Vector3::new(0.0, 1.0, 1.0));
                *reach_within_rad = Some(deg.to_radians());
            }
            ArmReach::Chain { .. } => panic!("not a chain"),
        }
        counts(&carried_out(&scene).in_reach)
    };
    assert_eq!(within(45.1), (2, 2));
    assert_eq!(within(44.9), (0, 2));
}

/// The cup about the keeper; its two neighbours, 50 mm to the side and on, hang on stems that lean away from its spur.
fn keeper_scene(reach_m: f64) -> Scene {
    let mut scene = scene();
    scene.setup.tools[0].action = ToolAction::EncloseKeeper;
    scene.setup.tools[0].cut_reach_m = reach_m;
    scene.tasks.orders.truncate(1);
    let keeper = scene.truth.fruitlets[0].clone();
    let pose = cup_below(keeper.centre.xyz, keeper.diameter_m);
    let plan = scene.plan(0);
    plan.targets = vec![1, 2];
    plan.enclosed = 0;
    plan.orchard_from_tool = pose;
    plan.orchard_from_tool_cut = pose;
    scene.tasks.orders[0].needs.clear();
    scene
}

#[test]
fn a_tool_that_guards_the_keeper_cuts_the_others() {
    // the stems stand 50 and 100 mm from the axis, the ring begins at the wall, 18 mm from it
    let got = carried_out(&keeper_scene(0.0825));
    assert_eq!(counts(&got.good), (1, 1));
    assert_eq!(counts(&got.excess_removed), (2, 2));
    assert_eq!(counts(&got.clusters_right), (1, 1));
    let short = carried_out(&keeper_scene(0.0815));
    assert_eq!(counts(&short.targets_cut), (0, 1));
    assert_eq!(counts(&short.good), (0, 1));
    // the nearer of the two is gone all the same, the good order is not
    assert_eq!(counts(&short.excess_removed), (0, 2));
}

#[test]
fn the_ring_must_be_free_of_limbs_and_of_other_stems() {
    let blade_z =
        |scene: &mut Scene| scene.plan(0).orchard_from_tool.iso.translation.vector.z - 0.003;
    let with_twig = |above: f64| {
        let mut scene = keeper_scene(0.0825);
        let z = blade_z(&mut scene) + above;
        let limb = Limb {
            id: "twig".to_owned(),
            kind: LimbKind::Limb,
            points: vec![Point::new(-0.05, -0.2, z), Point::new(-0.05, 0.2, z)],
            radii_m: vec![0.002, 0.002],
        };
        scene.run.orchard.as_mut().unwrap().trees[0]
            .limbs
            .push(limb);
        counts(&carried_out(&scene).hits_limb)
    };
    assert_eq!(with_twig(0.0021), (0, 1));
    assert_eq!(with_twig(0.0019), (1, 1));

    let mut scene = keeper_scene(0.0825);
    scene.plan(0).targets = vec![1];
    let got = carried_out(&scene);
    assert_eq!(counts(&got.cut_other), (1, 1));
    assert_eq!(counts(&got.good), (0, 1));
}
