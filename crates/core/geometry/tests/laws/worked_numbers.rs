//! Numbers worked out elsewhere.

use crate::common::{camera, ideal};
use corymb_geometry::{
    Lens, PlaneObservation, Triangulation, TriangulationConfig, box_planes, sphere_box,
    sphere_ellipse, triangulate,
};
use corymb_model::run::Distortion;
use nalgebra::{Isometry3, Vector2, Vector3};

/// The left camera of a stereo pair, from a ROS `CameraInfo` YAML of 2022-05-21 (1440 x 1080) in the public
/// repository hfreecmu/fruitlet_association_network; pixels computed by its formulas.
fn camera_info(distorted: bool) -> Lens {
    let k = [
        -0.288_682_987_627_749_1,
        0.183_085_385_851_330_1,
        0.002_447_406_765_485_187,
        0.000_818_203_777_267_498_9,
        0.0,
    ];
    let mut camera = camera(if distorted {
        Distortion::PlumbBob(k)
    } else {
        Distortion::None
    });
    camera.focal_px = [1_723.155_242_724_805, 1_725.497_897_355_215];
    camera.principal_px = [728.650_928_249_338_6, 518.124_008_748_531_8];
    Lens::new(&camera)
}

#[test]
fn camera_info_points_fall_on_their_pixels() {
    let cases = [
        (
            (0.05, 0.03, 0.5),
            (900.9665, 621.6539),
            (900.3937, 621.3557),
        ),
        (
            (0.1, -0.08, 0.5),
            (1073.2820, 242.0443),
            (1066.9624, 247.4580),
        ),
        (
            (-0.15, 0.1, 0.5),
            (211.7044, 863.2236),
            (229.4362, 852.0576),
        ),
    ];
    for ((x, y, z), ideal, distorted) in cases {
        for (lens, px) in [(camera_info(false), ideal), (camera_info(true), distorted)] {
            let got = lens.project(&Vector3::new(x, y, z)).unwrap();
            // the values are given to 1e-4 px
            assert!(
                (got - Vector2::new(px.0, px.1)).amax() < 6e-5,
                "{got:?} {px:?}"
            );
        }
    }
}

/// Dual conic P Q* P^T (Hartley and Zisserman ch. 8.3), f = 1,000 px, principal point (640, 480).
#[test]
fn spheres_have_the_worked_boxes() {
    let lens = ideal();
    let cases = [
        (
            (0.0, 0.0, 0.5, 0.02),
            [599.9680, 439.9680, 680.0320, 520.0320],
        ),
        (
            (0.1, 0.05, 0.5, 0.02),
            [799.4944, 539.9282, 881.1466, 620.3923],
        ),
        (
            (0.15, -0.1, 0.4, 0.01),
            [988.5251, 204.0657, 1041.9439, 255.6216],
        ),
    ];
    for ((x, y, z, r), expected) in cases {
        let got = sphere_box(&lens, &Vector3::new(x, y, z), r).unwrap();
        for (a, b) in got.iter().zip(expected) {
            assert!((a - b).abs() < 6e-5, "{got:?} {expected:?}");
        }
    }
    let ellipse = sphere_ellipse(&lens, &Vector3::new(0.1, 0.05, 0.5), 0.02).unwrap();
    assert!(
        (ellipse.centre_px - Vector2::new(840.3205, 580.1603)).amax() < 6e-5,
        "{ellipse:?}"
    );
    let ellipse = sphere_ellipse(&lens, &Vector3::new(0.15, -0.1, 0.4), 0.01).unwrap();
    assert!(
        (ellipse.centre_px - Vector2::new(1015.2345, 229.8437)).amax() < 6e-5,
        "{ellipse:?}"
    );
}

/// Depth by disparity, z = f b / d, and its error z^2 / (f b) a pixel: f = 700 px, b = 0.12 m, d = 84 px is 1.000 m
/// and 11.905 mm a pixel there, 2.976 mm at half the distance.
#[test]
fn stereo_depth_and_its_error_a_pixel() {
    let mut camera = camera(Distortion::None);
    camera.focal_px = [700.0, 700.0];
    let lens = Lens::new(&camera);
    let depth = |disparity_px: f64, half_px: f64| {
        let mut observations = Vec::new();
        for (view, x_m, u_px) in [
            (0, 0.0, 640.0 + 0.5 * disparity_px),
            (1, 0.12, 640.0 - 0.5 * disparity_px),
        ] {
            let box_px = [
                u_px - half_px,
                480.0 - half_px,
                u_px + half_px,
                480.0 + half_px,
            ];
            for plane in box_planes(&lens, &box_px, 0.0).unwrap() {
                observations.push(PlaneObservation::new(
                    &plane,
                    &Isometry3::translation(x_m, 0.0, 0.0),
                    1.0,
                    view,
                ));
            }
        }
        match triangulate(&observations, None, &TriangulationConfig::default()) {
            Triangulation::Sphere { centre, .. } => centre.z,
            other => panic!("{other:?}"),
        }
    };
    // a box of a pixel: the larger the sphere, the more its outline differs from its centre's image
    assert!(
        (depth(84.0, 0.5) - 1.0).abs() < 1e-5,
        "{}",
        depth(84.0, 0.5)
    );
    for (disparity_px, error_m) in [(84.0, 0.011_905), (168.0, 0.002_976)] {
        let slope = (depth(disparity_px - 0.01, 0.5) - depth(disparity_px + 0.01, 0.5)) / 0.02;
        assert!((slope - error_m).abs() < 2e-6, "{slope} {error_m}");
    }
}
