//! Lenses: against OpenCV, there and back, derivatives, and the ends of the models.

use crate::common::{camera, distortion, ideal, numeric_jacobian, reference, relative_gap};
use corymb_geometry::{Lens, ProjectError, UndistortError};
use corymb_model::run::Distortion;
use nalgebra::{DMatrix, DVector, Vector2, Vector3};
use proptest::prelude::*;
use serde::Deserialize;

#[derive(Deserialize)]
struct Stored {
    tolerance_px: f64,
    tolerance_undistorted: f64,
    cameras: Vec<StoredCamera>,
}

#[derive(Deserialize)]
struct StoredCamera {
    name: String,
    model: String,
    coefficients: Vec<f64>,
    focal_px: [f64; 2],
    principal_px: [f64; 2],
    points_m: Vec<[f64; 3]>,
    projected_px: Vec<[f64; 2]>,
    jacobian_px_per_m: Vec<[[f64; 3]; 2]>,
    undistorted: Vec<[f64; 2]>,
}

fn stored_lens(stored: &StoredCamera) -> Lens {
    let k = stored.coefficients.as_slice();
    let mut camera = camera(match stored.model.as_str() {
        "none" => Distortion::None,
        "plumb_bob" => Distortion::PlumbBob(k.try_into().unwrap()),
        "rational_polynomial" => Distortion::RationalPolynomial(k.try_into().unwrap()),
        "equidistant" => Distortion::Equidistant(k.try_into().unwrap()),
        other => panic!("{other}"),
    });
    camera.focal_px = stored.focal_px;
    camera.principal_px = stored.principal_px;
    Lens::new(&camera)
}

#[test]
fn agree_with_opencv() {
    let stored: Stored = reference("lenses.json");
    for model in ["none", "plumb_bob", "rational_polynomial", "equidistant"] {
        assert!(
            stored.cameras.iter().any(|c| c.model == model),
            "no camera of model {model}"
        );
    }
    for camera in &stored.cameras {
        let lens = stored_lens(camera);
        assert!(camera.points_m.len() >= 40);
        for (i, point) in camera.points_m.iter().enumerate() {
            let (px, jacobian) = lens.project_with_jacobian(&Vector3::from(*point)).unwrap();
            assert_eq!(px, lens.project(&Vector3::from(*point)).unwrap());
            let expected = Vector2::from(camera.projected_px[i]);
            assert!(
                (px - expected).amax() < stored.tolerance_px,
                "{} {i}: {px} {expected}",
                camera.name
            );
            for row in 0..2 {
                for col in 0..3 {
                    let gap = jacobian[(row, col)] - camera.jacobian_px_per_m[i][row][col];
                    assert!(
                        gap.abs() < stored.tolerance_px,
                        "{} {i}: derivative off by {gap}",
                        camera.name
                    );
                }
            }
            let n = lens.undistort(&expected).unwrap();
            let gap = (n - Vector2::from(camera.undistorted[i])).amax();
            assert!(
                gap < stored.tolerance_undistorted,
                "{} {i}: undistorted off by {gap}",
                camera.name
            );
        }
    }
}

/// r (1 - 0.3 r^2) rises up to r = 1 / sqrt(0.9), where it is 0.7027.
#[test]
fn a_barrel_lens_folds_back_where_its_slope_vanishes() {
    let lens = Lens::new(&camera(Distortion::PlumbBob([-0.3, 0.0, 0.0, 0.0, 0.0])));
    let fold = 1.0 / 0.9f64.sqrt();
    assert!(
        (lens.radius_limit() - fold).abs() < 1e-12,
        "{}",
        lens.radius_limit()
    );
    assert!(lens.project(&Vector3::new(0.0, 1.05, 1.0)).is_ok());
    match lens.project(&Vector3::new(0.0, 1.06, 1.0)) {
        Err(ProjectError::OutsideModel { radius, limit }) => {
            assert!((radius - 1.06).abs() < 1e-12 && (limit - fold).abs() < 1e-12);
        }
        other => panic!("{other:?}"),
    }
    let outermost_px = 640.0 + 1000.0 * fold * (1.0 - 0.3 * fold * fold);
    assert!(
        lens.undistort(&Vector2::new(outermost_px - 1e-3, 480.0))
            .is_ok()
    );
    for beyond in [1e-3, 1.0, 1e4] {
        let got = lens.undistort(&Vector2::new(outermost_px + beyond, 480.0));
        assert!(
            matches!(got, Err(UndistortError::OutsideModel { .. })),
            "{got:?}"
        );
    }
}

/// Slope 1 - 0.6 theta^2 vanishes at theta = 1.2910, tan = 3.4807.
#[test]
fn a_fisheye_folds_back_where_its_slope_vanishes() {
    let lens = Lens::new(&camera(Distortion::Equidistant([-0.2, 0.0, 0.0, 0.0])));
    let theta = (1.0f64 / 0.6).sqrt();
    assert!((lens.radius_limit() - theta.tan()).abs() < 1e-9);
    let ray = |theta: f64| Vector3::new(theta.sin(), 0.0, theta.cos());
    assert!(lens.project(&ray(theta - 1e-6)).is_ok());
    assert!(matches!(
        lens.project(&ray(theta + 1e-6)),
        Err(ProjectError::OutsideModel { .. })
    ));
    let outermost_px = 640.0 + 1000.0 * (theta - 0.2 * theta.powi(3));
    assert!(
        lens.undistort(&Vector2::new(outermost_px - 1e-3, 480.0))
            .is_ok()
    );
    assert!(matches!(
        lens.undistort(&Vector2::new(outermost_px + 1e-3, 480.0)),
        Err(UndistortError::OutsideModel { .. })
    ));
    // an equidistant lens that never folds back sees up to, not including, a right angle
    let plain = Lens::new(&camera(Distortion::Equidistant([0.0; 4])));
    assert!(plain.radius_limit().is_infinite());
    let edge_px = 640.0 + 1000.0 * std::f64::consts::FRAC_PI_2;
    assert!(plain.undistort(&Vector2::new(edge_px - 1.0, 480.0)).is_ok());
    assert!(
        plain
            .undistort(&Vector2::new(edge_px + 1.0, 480.0))
            .is_err()
    );
}

#[test]
fn a_pole_of_the_quotient_ends_the_model() {
    let lens = Lens::new(&camera(Distortion::RationalPolynomial([
        0.0, 0.0, 0.0, 0.0, 0.0, -1.0, 0.0, 0.0,
    ])));
    assert!(
        (lens.radius_limit() - 1.0).abs() < 1e-9,
        "{}",
        lens.radius_limit()
    );
    assert!(matches!(
        lens.project(&Vector3::new(1.01, 0.0, 1.0)),
        Err(ProjectError::OutsideModel { .. })
    ));
}

#[test]
fn points_without_an_image_are_refused_by_kind() {
    for lens in crate::common::typical_distortions().map(|d| Lens::new(&camera(d))) {
        for z_m in [0.0, -0.0, -1.0, -1e-300] {
            let got = lens.project(&Vector3::new(0.1, 0.1, z_m));
            assert_eq!(got, Err(ProjectError::BehindCamera { z_m }));
        }
        for p in [
            Vector3::new(f64::NAN, 0.0, 1.0),
            Vector3::new(0.0, f64::INFINITY, 1.0),
            Vector3::new(0.0, 0.0, f64::NAN),
        ] {
            assert_eq!(lens.project(&p), Err(ProjectError::NonFinite));
            assert_eq!(lens.project_with_jacobian(&p), Err(ProjectError::NonFinite));
        }
        assert_eq!(
            lens.undistort(&Vector2::new(f64::NAN, 0.0)),
            Err(UndistortError::NonFinite)
        );
    }
    assert_eq!(
        ideal().project(&Vector3::new(1e300, 0.0, 1e-300)),
        Err(ProjectError::NonFinite)
    );
}

#[test]
fn zero_coefficients_are_an_ideal_lens_but_not_for_the_fisheye() {
    assert!(Lens::new(&camera(Distortion::PlumbBob([0.0; 5]))).is_ideal());
    assert!(Lens::new(&camera(Distortion::RationalPolynomial([0.0; 8]))).is_ideal());
    let fisheye = Lens::new(&camera(Distortion::Equidistant([0.0; 4])));
    let px = fisheye.project(&Vector3::new(1.0, 0.0, 1.0)).unwrap();
    assert!((px.x - 640.0 - 1000.0 * std::f64::consts::FRAC_PI_4).abs() < 1e-9);
}

#[test]
fn states_its_size_and_focal_length() {
    let mut camera = camera(Distortion::None);
    camera.focal_px = [1000.0, 1010.0];
    let lens = Lens::new(&camera);
    assert_eq!(
        (lens.width_px(), lens.height_px(), lens.mean_focal_px()),
        (1280.0, 960.0, 1005.0)
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn undistort_inverts_distort(d in distortion(), angle in 0.0..std::f64::consts::TAU, share in 0.0..0.9f64) {
        let lens = Lens::new(&camera(d));
        let radius = share * lens.radius_limit().min(1.2);
        let n = Vector2::new(angle.cos(), angle.sin()) * radius;
        let (px, jacobian) = lens.distort_with_jacobian(&n);
        prop_assert!((px - lens.distort(&n)).amax() < 1e-9);
        // with tangential terms the plane may fold before its radial part does
        prop_assume!(jacobian.determinant() > 0.05e6);
        let back = lens.undistort(&px).unwrap();
        prop_assert!((back - n).norm() < 1e-10, "{} {}", back, n);
        let (again, inverse) = lens.undistort_with_jacobian(&px).unwrap();
        prop_assert_eq!(again, back);
        prop_assert!((inverse * jacobian - nalgebra::Matrix2::identity()).amax() < 1e-8);
    }

    #[test]
    fn distort_inverts_undistort(d in distortion(), x in -700.0..1980.0f64, y in -500.0..1460.0f64) {
        let lens = Lens::new(&camera(d));
        let px = Vector2::new(x, y);
        match lens.undistort(&px) {
            Ok(n) => {
                prop_assert!((lens.distort(&n) - px).norm() < 1e-7, "{} {}", lens.distort(&n), px);
                prop_assert!(n.norm() <= lens.radius_limit());
            }
            Err(UndistortError::OutsideModel { .. }) => prop_assert!(lens.radius_limit() < 1e4 || matches!(d, Distortion::Equidistant(_))),
            Err(e) => prop_assert!(false, "{}", e),
        }
    }

    #[test]
    fn project_is_distort_of_the_ray_at_any_depth(d in distortion(), x in -0.4..0.4f64, y in -0.4..0.4f64, z in 0.1..20.0f64) {
        let lens = Lens::new(&camera(d));
        if let Ok(px) = lens.project(&(Vector3::new(x, y, 1.0) * z)) {
            prop_assert!((px - lens.distort(&Vector2::new(x, y))).norm() < 1e-9);
        }
    }

    #[test]
    fn derivatives_match_differences(d in distortion(), x in -0.5..0.5f64, y in -0.5..0.5f64, z in 0.3..3.0f64) {
        let lens = Lens::new(&camera(d));
        let p = Vector3::new(x * z, y * z, z);
        prop_assume!(Vector2::new(x, y).norm() < 0.98 * lens.radius_limit());
        let (_, jacobian) = lens.project_with_jacobian(&p).unwrap();
        let f = |p: &DVector<f64>| {
            let px = lens.project(&Vector3::new(p[0], p[1], p[2])).unwrap();
            DVector::from_column_slice(px.as_slice())
        };
        let numeric = numeric_jacobian(f, p.as_slice(), 1e-6);
        let exact = DMatrix::from_row_slice(2, 3, jacobian.transpose().as_slice());
        prop_assert!(relative_gap(&exact, &numeric) < 1e-6, "{} {}", exact, numeric);
    }

    #[test]
    fn the_radial_function_rises_up_to_the_limit_and_not_beyond(d in distortion()) {
        let radial_only = match d {
            Distortion::PlumbBob([a, b, _, _, e]) => Distortion::PlumbBob([a, b, 0.0, 0.0, e]),
            Distortion::RationalPolynomial([a, b, _, _, e, f, g, h]) => {
                Distortion::RationalPolynomial([a, b, 0.0, 0.0, e, f, g, h])
            }
            other => other,
        };
        let lens = Lens::new(&camera(radial_only));
        let image = |r: f64| lens.distort(&Vector2::new(r, 0.0)).x;
        let limit = lens.radius_limit().min(50.0);
        let samples: Vec<f64> = (0..=400).map(|i| image(limit * (1.0 - 1e-9) * f64::from(i) / 400.0)).collect();
        prop_assert!(samples.windows(2).all(|pair| pair[0] < pair[1]));
        if lens.radius_limit() < 50.0 {
            prop_assert!(image(limit * 1.001) < image(limit * 0.999999) + 1e-9 || image(limit * 1.001) < 0.0);
        }
    }

    #[test]
    fn nothing_makes_a_lens_panic(
        k in prop::array::uniform8(any::<f64>()),
        kind in 0..4,
        numbers in prop::array::uniform5(any::<f64>()),
    ) {
        let lens = Lens::new(&camera(match kind {
            0 => Distortion::None,
            1 => Distortion::PlumbBob([k[0], k[1], k[2], k[3], k[4]]),
            2 => Distortion::RationalPolynomial(k),
            _ => Distortion::Equidistant([k[0], k[1], k[2], k[3]]),
        }));
        if let Ok(px) = lens.project(&Vector3::new(numbers[0], numbers[1], numbers[2])) {
            prop_assert!(px.x.is_finite() && px.y.is_finite());
        }
        if let Ok(n) = lens.undistort(&Vector2::new(numbers[3], numbers[4])) {
            prop_assert!(n.x.is_finite() && n.y.is_finite());
        }
    }
}
