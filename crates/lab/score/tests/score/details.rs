//! Details against numbers worked out by hand, and against the scores of the same output.

use crate::orchard::{Scene, plain};
use corymb_model::frames::Pose;
use corymb_model::run::{Camera, Distortion};
use corymb_model::scene::{Calibration, CorrectedPose, Estimate};
use corymb_score::details::{Outcome, Placed, StatedEdge};
use corymb_score::{Details, details};
use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion, Vector3};

fn of(scene: &Scene) -> Details {
    details(&scene.input(), None).unwrap()
}

/// Looks along y from a metre before `p`: x right is x, y down is -z.
fn before(p: Vector3<f64>) -> Isometry3<f64> {
    let axes = Matrix3::new(1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, -1.0, 0.0);
    Isometry3::from_parts(
        Translation3::from(p - Vector3::y()),
        UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(axes)),
    )
}

/// One fruitlet of 20 mm in the middle of two images, a metre away: its box spans 500 px and `half` on both sides.
fn seen() -> (Scene, f64) {
    let mut scene = Scene::new(&[vec![vec![plain(2)]]], 0);
    scene.run.cameras = vec![Camera {
        id: "left".to_owned(),
        width_px: 1000,
        height_px: 1000,
        focal_px: [1000.0, 1000.0],
        principal_px: [500.0, 500.0],
        distortion: Distortion::None,
        rig_from_camera: Pose::identity(),
    }];
    let eye = before(scene.truth.fruitlets[0].centre.xyz);
    let half = 1000.0 * 0.01 / (1.0 - 0.01_f64.powi(2)).sqrt();
    for frame in &mut scene.run.frames {
        frame.orchard_from_rig = Some(Pose::from_isometry(eye));
        frame.detections[0].box_px = [500.0 - half, 500.0 - half, 500.0 + half, 500.0 + half];
    }
    (scene, half)
}

fn close(found: [Option<f64>; 4], expected: [f64; 4]) {
    for (found, expected) in found.iter().zip(expected) {
        assert!(
            (found.unwrap() - expected).abs() < 1e-6,
            "{found:?} {expected}"
        );
    }
}

#[test]
fn a_residual_is_how_much_further_out_the_box_reaches() {
    let (mut scene, _) = seen();
    let given = &mut scene.run.frames[1].detections[0].box_px;
    *given = [
        given[0] - 1.0,
        given[1] + 0.5,
        given[2] + 2.0,
        given[3] - 0.25,
    ];
    scene.run.noise.box_edge_px = Some(0.8);
    let residuals = of(&scene).residuals;
    assert!(!residuals.corrected_poses);
    assert_eq!(residuals.box_edge, StatedEdge::Run(0.8));
    assert_eq!((residuals.boxes.len(), residuals.not_predicted), (2, 0));
    close(residuals.boxes[0].outward_px, [0.0; 4]);
    close(residuals.boxes[1].outward_px, [1.0, -0.5, 2.0, -0.25]);
    assert!((residuals.boxes[1].image_radius_px - 0.5_f64.hypot(0.125)).abs() < 1e-9);
    let right = &residuals.edges[2];
    assert!((right.mean_px.unwrap() - 1.0).abs() < 1e-6);
    assert!((right.deviation_px.unwrap() - 1.0).abs() < 1e-6);
    assert_eq!((right.within_stated.num, right.within_stated.den), (1, 2));
}

/// The corrected pose stands 1 mm further along x, so the fruit is predicted 1 px to the left of its box.
#[test]
fn boxes_are_predicted_through_the_corrected_poses() {
    let (scene, _) = seen();
    let fruit = scene.truth.fruitlets[0].centre.xyz;
    let calibration = Calibration {
        rig_poses: vec![CorrectedPose {
            time_s: 1.0 + 1e-7,
            pass: None,
            orchard_from_rig: Pose::from_isometry(before(fruit + Vector3::new(0.001, 0.0, 0.0))),
            translation_deviation_m: None,
            rotation_deviation_rad: None,
        }],
        box_edge_px: Estimate {
            value: Some(1.25),
            ..Estimate::default()
        },
        ..Calibration::default()
    };
    let residuals = details(&scene.input(), Some(&calibration))
        .unwrap()
        .residuals;
    assert!(residuals.corrected_poses);
    assert_eq!(residuals.box_edge, StatedEdge::Calibration(1.25));
    // the first image is not in the calibration
    assert_eq!((residuals.boxes.len(), residuals.not_predicted), (1, 1));
    let off = residuals.boxes[0].outward_px.map(Option::unwrap);
    assert!(
        (off[0] + 1.0).abs() < 1e-3 && (off[2] - 1.0).abs() < 1e-3,
        "{off:?}"
    );
}

#[test]
fn an_edge_at_the_border_of_the_image_says_nothing() {
    let (mut scene, half) = seen();
    scene.run.frames[0].detections[0].box_px[0] = 0.0;
    let residuals = of(&scene).residuals;
    assert_eq!(residuals.boxes[0].outward_px[0], None);
    assert!(residuals.boxes[0].outward_px[2].unwrap().abs() < 1e-6 * half);
    assert_eq!(residuals.edges.map(|e| e.n), [1, 2, 2, 2]);
}

/// Twelve clusters of three: one fruitlet is missed, one invented, one moved, and two clusters are joined.
fn mixed() -> Scene {
    let mut scene = Scene::new(&vec![vec![vec![plain(3); 3]; 6]; 2], 1);
    scene.map.fruitlets[4].centre.xyz.z += 0.003;
    scene.map.fruitlets[5].centre.xyz.y += 0.5;
    scene.map.fruitlets[5].detections.clear();
    for k in 6..9 {
        scene.map.fruitlets[k].cluster_idx = 3;
    }
    scene
}

#[test]
fn every_fruitlet_has_its_row_and_rows_agree_with_the_scores() {
    let scene = mixed();
    let details = of(&scene);
    assert_eq!(details.placed, Placed::ShiftRemoved);
    let scores = scene.score();
    let figures = &scores.shift_removed.figures().unwrap().fruitlets;
    let count = |o: Outcome| details.fruitlets.iter().filter(|f| f.outcome == o).count();
    assert_eq!(
        [
            Outcome::Right,
            Outcome::False,
            Outcome::Missed,
            Outcome::NotConsidered
        ]
        .map(count),
        [
            figures.right,
            figures.false_ones,
            figures.missed,
            figures.not_considered
        ]
    );
    assert_eq!(
        (figures.right, figures.false_ones, figures.missed),
        (35, 1, 1)
    );
    let moved = &details.fruitlets[4];
    let error = moved.error.as_ref().unwrap();
    assert!((error.centre_mm[2] - 3.0).abs() < 1e-9 && (error.centre_size_mm - 3.0).abs() < 1e-9);
    let map = moved.map.as_ref().unwrap();
    assert_eq!(
        (map.id.as_str(), map.views, map.box_side_px),
        ("f004", 3, Some(9.0))
    );
    assert_eq!(map.centre_deviation_mm, [1.0; 3]);
    let missed = details.fruitlets.last().unwrap();
    assert_eq!(missed.truth.as_ref().unwrap().id, "true-005");
    let sizes = details
        .fruitlets
        .iter()
        .filter_map(|f| Some(f.error.as_ref()?.centre_size_mm));
    assert_eq!(
        sizes.fold(0.0, f64::max),
        figures.position_error_mm.max.unwrap()
    );
}

#[test]
fn clusters_say_where_their_fruit_went() {
    let details = of(&mixed());
    let row = |k: usize| {
        let c = &details.clusters[k];
        [c.fruit, c.found, c.map_clusters, c.held, c.map_fruit]
    };
    assert_eq!(details.clusters.len(), 12);
    assert_eq!(row(0), [3, 3, 1, 3, 3]);
    // its third fruitlet is missed, the map's cluster still holds the invented one
    assert_eq!(row(1), [3, 2, 1, 2, 3]);
    assert_eq!(row(2), [3, 3, 1, 3, 6]);
    assert_eq!(
        details.clusters[2].map_cluster,
        details.clusters[3].map_cluster
    );
}

#[test]
fn errors_fall_into_the_bins_of_their_images_and_area() {
    let mut scene = mixed();
    scene.map.fruitlets[4].views = 7;
    let details = of(&scene);
    let views: Vec<(f64, Option<f64>, usize)> = (details.error_by_views.iter())
        .map(|b| (b.from, b.to, b.n))
        .collect();
    assert_eq!(
        views,
        [
            (3.0, Some(4.0), 34),
            (4.0, Some(5.0), 0),
            (5.0, Some(6.0), 0),
            (6.0, Some(8.0), 1)
        ]
    );
    assert!((details.error_by_views[3].median_mm.unwrap() - 3.0).abs() < 1e-9);
    assert_eq!(details.error_by_views[1].median_mm, None);
    // 9 px by 9 px
    let area = &details.error_by_pixel_area;
    assert_eq!(
        (area.len(), area[0].from, area[0].to, area[0].n),
        (1, 64.0, Some(128.0), 35)
    );
}

#[test]
fn too_few_fruit_for_a_shift_are_compared_as_stated() {
    let (mut scene, _) = seen();
    scene.map.fruitlets[0].centre.xyz.x += 0.002;
    let details = of(&scene);
    assert!(matches!(&details.placed, Placed::AsStated { because } if because.contains("5")));
    let error = details.fruitlets[0].error.as_ref().unwrap();
    assert!((error.centre_mm[0] - 2.0).abs() < 1e-9);
    assert_eq!(error.shift_mm, [0.0; 3]);
    scene.map.fruitlets.clear();
    let empty = of(&scene);
    assert_eq!(empty.fruitlets.len(), 1);
    assert!(empty.error_by_views.is_empty() && empty.residuals.by_radius.is_empty());
}
