//! Pictures and tables on small invented results.
#![allow(clippy::unwrap_used, clippy::panic)] // a helper of a test may fail as the test does

use corymb_geometry::{Lens, sphere_box};
use corymb_model::decisions::{Decisions, TreeLoad};
use corymb_model::frames::{Direction, Orchard, Point, Pose};
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::orchard::{OrchardModel, Row, Tree};
use corymb_model::orders::{Order, TaskList, Work};
use corymb_model::run::{BoxRef, Camera, Class, Detection, Distortion, Frame, Run};
use corymb_model::scene::{Axis, Scene, View};
use corymb_model::ways::{PlannedRemoval, Refusal, RefusalReason};
use corymb_report::trees::{Results, rows, table};
use corymb_report::{CAUTIONS, overlay};
use nalgebra::{Isometry3, Matrix4, UnitQuaternion, Vector3};

#[path = "report/charts.rs"]
mod charts;

fn camera() -> Camera {
    Camera {
        id: "left <1>".to_owned(),
        width_px: 640,
        height_px: 480,
        focal_px: [600.0, 610.0],
        principal_px: [322.0, 238.0],
        distortion: Distortion::PlumbBob([-0.2, 0.05, 0.001, -0.001, 0.0]),
        rig_from_camera: Pose::identity(),
    }
}

fn detection(class: Class, box_px: [f64; 4]) -> Detection {
    Detection {
        class,
        score: 0.9,
        box_px,
        depth_m: None,
        axis_px: None,
        damaged: None,
        track: None,
    }
}

fn frame(id: &str, detections: Vec<Detection>) -> Frame {
    Frame {
        id: id.to_owned(),
        camera_idx: 0,
        time_s: 0.0,
        orchard_from_rig: None,
        pass: None,
        detections,
    }
}

fn run(frames: Vec<Frame>) -> Run {
    Run {
        name: "invented & small".to_owned(),
        date: "2026-06-01".to_owned(),
        stage_bbch: None,
        cameras: vec![camera()],
        noise: Default::default(),
        frames,
        poses: Vec::new(),
        orchard: None,
    }
}

fn fruitlet(id: &str, tree_idx: Option<usize>, centre: Point<Orchard>) -> Fruitlet {
    Fruitlet {
        id: id.to_owned(),
        class: Class::Fruitlet,
        tree_idx,
        tree_probability: 1.0,
        cluster_idx: 0,
        cluster_probability: 1.0,
        centre,
        diameter_m: 0.02,
        covariance_m2: Matrix4::zeros(),
        shared_deviation_m: 0.0,
        axis: None,
        stem: None,
        stem_top: None,
        spur: None,
        king_probability: 0.0,
        existence: 0.9,
        views: 1,
        detections: Vec::new(),
    }
}

fn map(fruitlets: Vec<Fruitlet>) -> CropMap {
    let cluster = Cluster {
        id: "c".to_owned(),
        tree_idx: None,
        limb_idx: None,
        along_limb_m: None,
        spur: Point::new(0.0, 0.0, 0.0),
        spur_deviation_m: 0.0,
        probability: 1.0,
        members: (0..fruitlets.len()).collect(),
    };
    CropMap {
        fruitlets,
        clusters: vec![cluster],
    }
}

fn path_points(svg: &str, class: &str) -> Vec<[f64; 2]> {
    let head = format!("<path class=\"{class}\" d=\"");
    let d = svg.split(&head).nth(1).unwrap().split('"').next().unwrap();
    d.trim_matches(['M', 'Z'])
        .split('L')
        .map(|p| {
            let (x, y) = p.split_once(' ').unwrap();
            [x.parse().unwrap(), y.parse().unwrap()]
        })
        .collect()
}

#[test]
fn an_outline_fills_the_box_that_geometry_predicts_for_the_sphere() {
    let turn = UnitQuaternion::from_euler_angles(0.1, -0.2, 0.3);
    let orchard_from_camera = Pose::from_isometry(Isometry3::from_parts(
        Vector3::new(1.0, -0.8, 1.4).into(),
        turn,
    ));
    for (x, y, z) in [(0.0, 0.0, 0.5), (0.12, -0.08, 0.4), (-0.2, 0.1, 0.7)] {
        let c_in_camera = Vector3::new(x, y, z);
        let centre = orchard_from_camera.apply(&Point::from_vector(c_in_camera));
        let mut scene = Scene::default();
        scene.views.push(View {
            orchard_from_camera: Some(orchard_from_camera),
        });
        let svg = overlay::svg(
            &run(vec![frame("f0", Vec::new())]),
            &scene,
            &map(vec![fruitlet("a", None, centre)]),
            0,
        )
        .unwrap();
        let points = path_points(&svg, "outline");
        let [x0, y0, x1, y1] = sphere_box(&Lens::new(&camera()), &c_in_camera, 0.01).unwrap();
        let low = points
            .iter()
            .fold([f64::MAX; 2], |a, p| [a[0].min(p[0]), a[1].min(p[1])]);
        let high = points
            .iter()
            .fold([f64::MIN; 2], |a, p| [a[0].max(p[0]), a[1].max(p[1])]);
        // a polygon of 32 corners lies within its circle by up to 0.5 % of the radius, and figures have a tenth
        let slack = 0.1 + 0.005 * (x1 - x0).max(y1 - y0);
        for (drawn, predicted) in [(low[0], x0), (low[1], y0), (high[0], x1), (high[1], y1)] {
            assert!(
                (drawn - predicted).abs() < slack,
                "{drawn} against {predicted}"
            );
        }
    }
}

#[test]
fn styles_tell_explained_boxes_from_the_rest_and_names_are_escaped() {
    let boxes = vec![
        detection(Class::Fruitlet, [10.0, 10.0, 30.0, 30.0]),
        detection(Class::Stem, [30.0, 10.0, 40.0, 40.0]),
        detection(Class::Fruitlet, [100.0, 100.0, 120.0, 120.0]),
        detection(Class::Ignore, [200.0, 100.0, 220.0, 120.0]),
    ];
    let mut near = fruitlet("a", None, Point::new(0.0, 0.0, 0.4));
    near.axis = Some(Axis {
        direction: Direction::of(Vector3::new(0.0, 1.0, -0.2)).unwrap(),
        deviation_rad: 0.1,
    });
    near.stem_top = Some(Point::new(0.0, -0.01, 0.4));
    near.spur = Some(Point::new(0.0, -0.03, 0.4));
    near.detections = [(0, Class::Fruitlet), (1, Class::Stem)]
        .map(|(detection_idx, class)| {
            (
                BoxRef {
                    frame_idx: 0,
                    detection_idx,
                },
                class,
            )
        })
        .to_vec();
    let mut doubtful = fruitlet("b", None, Point::new(0.05, 0.0, 0.4));
    doubtful.existence = 0.2;
    let behind = fruitlet("c", None, Point::new(0.0, 0.0, -0.4));
    let mut scene = Scene::default();
    scene.views.push(View {
        orchard_from_camera: Some(Pose::identity()),
    });
    scene.views.push(View {
        orchard_from_camera: None,
    });
    let run = run(vec![frame("f\"0", boxes), frame("f1", Vec::new())]);
    let map = map(vec![near, doubtful, behind]);
    let svg = overlay::svg(&run, &scene, &map, 0).unwrap();
    let shapes = |tag: &str| svg.matches(tag).count();
    assert_eq!(shapes("<rect class=\"body\""), 1);
    assert_eq!(shapes("<rect class=\"stem\""), 1);
    assert_eq!(shapes("<rect class=\"unclaimed\""), 1);
    assert_eq!(
        shapes("<rect "),
        5,
        "ignored boxes are not drawn, sheet and ground are"
    );
    // one each in the legend beside those in the picture
    for (class, count) in [("outline", 2), ("faint", 2), ("hang", 2), ("stalk", 2)] {
        assert_eq!(
            shapes(&format!("<path class=\"{class}\"")),
            count,
            "{class}"
        );
    }
    assert!(svg.contains("invented &amp; small, image f&quot;0, camera left &lt;1&gt;"));
    assert!(
        overlay::svg(&run, &scene, &map, 1).is_none(),
        "an image without a pose"
    );
    assert!(
        overlay::svg(&run, &scene, &map, 2).is_none(),
        "no such image"
    );
}

#[test]
fn chosen_images_have_poses_and_are_spread_over_the_run() {
    let mut scene = Scene::default();
    for i in 0..10 {
        let orchard_from_camera = (i != 5).then(Pose::identity);
        scene.views.push(View {
            orchard_from_camera,
        });
    }
    assert_eq!(overlay::evenly_spaced(&scene, 3), [1, 4, 8]);
    assert_eq!(overlay::evenly_spaced(&scene, 0), [0_usize; 0]);
    assert_eq!(overlay::evenly_spaced(&scene, 99).len(), 9);
    assert!(!overlay::evenly_spaced(&scene, 99).contains(&5));
}

fn orchard() -> OrchardModel {
    let tree = |id: &str, x: f64| Tree {
        id: id.to_owned(),
        row_idx: 0,
        base: Point::new(x, 0.0, 0.0),
        trunk_diameter_m: None,
        limbs: Vec::new(),
    };
    OrchardModel {
        rows: vec![Row {
            id: "r".to_owned(),
            from: Point::new(0.0, 0.0, 0.0),
            to: Point::new(2.0, 0.0, 0.0),
        }],
        trees: vec![tree("t1", 0.0), tree("t2", 1.0)],
        obstacles: Vec::new(),
    }
}

fn removal(targets: Vec<usize>) -> Order {
    let plan = PlannedRemoval {
        enclosed: targets[0],
        targets,
        tool_idx: 0,
        arm_idx: None,
        orchard_from_tool: Pose::identity(),
        orchard_from_tool_cut: Pose::identity(),
        tilt_rad: 0.0,
        clearance_m: 0.0,
        unseen_share: None,
        success_probability: 1.0,
        success_probability_unlocated: 1.0,
        stops: None,
        duration_s: 1.0,
        reach_checked: false,
        not_checked: Vec::new(),
    };
    Order {
        id: "o".to_owned(),
        seq: 0,
        stop: None,
        orchard_from_rig: None,
        needs: Vec::new(),
        cluster_idx: 0,
        duration_s: 1.0,
        work: Work::Remove {
            plan,
            keepers: Vec::new(),
        },
    }
}

fn refusal(fruitlet_idx: usize) -> Refusal {
    Refusal {
        fruitlet_idx,
        reason: RefusalReason::StemTooShort,
        blocked_by: Vec::new(),
        shortfall: None,
    }
}

#[test]
fn each_tree_gets_its_own_figures_and_the_fruit_without_a_tree_a_row() {
    let orchard = orchard();
    let fruit = |tree_idx, k: u32| {
        fruitlet(
            &format!("f{k}"),
            tree_idx,
            Point::new(f64::from(k), 0.0, 0.0),
        )
    };
    let map = map(vec![
        fruit(Some(0), 0),
        fruit(Some(0), 1),
        fruit(Some(1), 2),
        fruit(Some(1), 3),
        fruit(None, 4),
    ]);
    let load = |tree_idx, found, removed| TreeLoad {
        tree_idx,
        found,
        removed,
        kept: found - removed,
        target: tree_idx.map(|_| 1),
        no_target_because: tree_idx
            .is_none()
            .then(|| "its tree is not known".to_owned()),
        unmet: if removed == 2 {
            vec!["the limb is too full".to_owned()]
        } else {
            Vec::new()
        },
        ..TreeLoad::default()
    };
    let decisions = Decisions {
        trees: vec![load(Some(0), 2, 1), load(Some(1), 2, 2), load(None, 1, 0)],
        ..Decisions::default()
    };
    let tasks = TaskList {
        orders: vec![removal(vec![1]), removal(vec![2])],
        refusals: vec![refusal(3)],
        ..TaskList::default()
    };
    let results = Results {
        orchard: Some(&orchard),
        map: &map,
        decisions: Some(&decisions),
        tasks: Some(&tasks),
    };
    let expected = "\
tree       found  target  keep  remove  look again  ordered  refused
t1             2       1     1       1           0        1        0
t2             2       1     0       2           0        1        1
(no tree)      1       -     1       0           0        0        0
all            5       -     2       3           0        2        1
refused, because of:
  t2: stem_too_short 1
not met on t2: the limb is too full
no target for (no tree): its tree is not known
";
    assert_eq!(table(&rows(&results)), expected);
}

#[test]
fn without_a_policy_the_table_counts_what_was_found() {
    let orchard = orchard();
    let mut doubtful = fruitlet("d", Some(0), Point::new(0.0, 0.0, 0.0));
    doubtful.existence = 0.4;
    let map = map(vec![
        fruitlet("a", Some(0), Point::new(0.0, 0.0, 0.0)),
        doubtful,
    ]);
    let results = Results {
        orchard: Some(&orchard),
        map: &map,
        decisions: None,
        tasks: None,
    };
    let rows = rows(&results);
    assert_eq!(rows.iter().map(|r| r.found).collect::<Vec<_>>(), [1, 0]);
    let text = table(&rows);
    assert!(
        text.contains("t1        1       -     -       -           -        -        -"),
        "{text}"
    );
}

#[test]
fn the_cautions_name_the_standards() {
    for name in ["ISO 12100", "ISO 10218-1/-2", "ISO 13849-1", "ISO 18497"] {
        assert!(CAUTIONS.contains(name), "{name}");
    }
}
