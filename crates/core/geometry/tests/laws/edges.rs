//! Box edges as planes.

use crate::common::{camera, distortion, ideal, typical_distortions};
use corymb_geometry::{EdgeError, Lens, Side, UndistortError, box_planes, sphere_box};
use corymb_model::run::Distortion;
use nalgebra::Vector3;
use proptest::prelude::*;

#[test]
fn planes_of_an_ideal_lens_have_the_closed_form() {
    let planes = box_planes(&ideal(), &[740.0, 280.0, 840.0, 380.0], 0.0).unwrap();
    let expected = [
        (Side::Left, Vector3::new(1.0, 0.0, -0.1)),
        (Side::Top, Vector3::new(0.0, 1.0, 0.2)),
        (Side::Right, Vector3::new(-1.0, 0.0, 0.2)),
        (Side::Bottom, Vector3::new(0.0, -1.0, -0.1)),
    ];
    for (plane, (side, normal)) in planes.iter().zip(expected) {
        assert_eq!(plane.side, side);
        assert!(
            (plane.normal - normal.normalize()).norm() < 1e-14,
            "{plane:?}"
        );
    }
}

#[test]
fn an_edge_at_the_border_is_marked() {
    let lens = ideal();
    let marks = |box_px: &[f64; 4], margin| {
        box_planes(&lens, box_px, margin)
            .unwrap()
            .map(|plane| plane.on_border)
    };
    assert_eq!(marks(&[10.0, 10.0, 100.0, 100.0], 2.0), [false; 4]);
    assert_eq!(
        marks(&[2.0, 2.1, 1278.1, 957.9], 2.0),
        [true, false, true, false]
    );
    assert_eq!(marks(&[-5.0, -5.0, 1285.0, 965.0], 0.0), [true; 4]);
}

#[test]
fn boxes_without_planes_are_refused_by_kind() {
    let lens = ideal();
    for box_px in [
        [10.0, 10.0, 10.0, 20.0],
        [20.0, 10.0, 10.0, 20.0],
        [10.0, 20.0, 20.0, 20.0],
    ] {
        assert_eq!(
            box_planes(&lens, &box_px, 0.0),
            Err(EdgeError::Empty { box_px })
        );
    }
    assert!(matches!(
        box_planes(&lens, &[f64::NAN, 0.0, 1.0, 1.0], 0.0),
        Err(EdgeError::NonFinite { .. })
    ));
    // the image of this lens ends 702.7 px from its middle
    let barrel = Lens::new(&camera(Distortion::PlumbBob([-0.3, 0.0, 0.0, 0.0, 0.0])));
    match box_planes(&barrel, &[1300.0, 470.0, 1350.0, 490.0], 0.0) {
        Err(EdgeError::Undistort {
            side: Side::Right,
            source: UndistortError::OutsideModel { .. },
        }) => {}
        other => panic!("{other:?}"),
    }
}

/// How far the plane of a distorted edge misses the sphere that made the box, as pixels of that edge: the silhouette
/// touches the edge a little off its middle, where the curve has left its tangent.
#[test]
fn the_tangent_at_the_midpoint_is_close_enough_for_small_spheres() {
    for distortion in typical_distortions() {
        let lens = Lens::new(&camera(distortion));
        let most = if lens.is_ideal() { 1e-9 } else { 0.05 };
        for (x, y) in [(0.0, 0.0), (0.2, 0.1), (-0.3, 0.25), (0.5, -0.35)] {
            let (c, r) = (Vector3::new(x, y, 1.0) * 0.5, 0.012);
            let Ok(box_px) = sphere_box(&lens, &c, r) else {
                panic!("no box at {x} {y}")
            };
            for plane in box_planes(&lens, &box_px, 0.0).unwrap() {
                let miss_px = (plane.normal.dot(&c) - r) / (plane.rad_per_px * c.norm());
                assert!(
                    miss_px.abs() < most,
                    "{distortion:?} {x} {y} {:?}: {miss_px} px",
                    plane.side
                );
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn planes_hold_the_edge_and_point_inwards(
        d in distortion(), x in 100.0..1100.0f64, y in 100.0..800.0f64, w in 5.0..150.0f64, h in 5.0..150.0f64,
    ) {
        let lens = Lens::new(&camera(d));
        let box_px = [x, y, x + w, y + h];
        let Ok(planes) = box_planes(&lens, &box_px, 0.0) else { return Ok(()) };
        let middle = lens.undistort(&nalgebra::Vector2::new(x + 0.5 * w, y + 0.5 * h)).unwrap().push(1.0);
        for plane in planes {
            prop_assert!((plane.normal.norm() - 1.0).abs() < 1e-12);
            prop_assert!(plane.normal.dot(&middle) > 0.0);
            let ray = lens.undistort(&plane.side.midpoint(&box_px)).unwrap().push(1.0).normalize();
            prop_assert!(plane.normal.dot(&ray).abs() < 1e-12);
            if ray.xy().norm() > 0.9 * lens.radius_limit() * ray.z {
                continue; // towards the fold second derivatives grow without bound
            }
            // a hundredth of a pixel along the edge leaves the plane only to second order, across it to first
            let inward = plane.side.inward();
            let step = 0.01;
            let along = plane.side.midpoint(&box_px) + nalgebra::Vector2::new(inward.y, inward.x) * step;
            let across = plane.side.midpoint(&box_px) + inward * step;
            let off = |px| plane.normal.dot(&lens.undistort(&px).unwrap().push(1.0).normalize()) / step;
            prop_assert!(off(along).abs() < 1e-3 * plane.rad_per_px, "{} {}", off(along), plane.rad_per_px);
            prop_assert!((off(across) - plane.rad_per_px).abs() < 1e-3 * plane.rad_per_px);
        }
    }
}
