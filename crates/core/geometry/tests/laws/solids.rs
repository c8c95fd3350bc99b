//! Distances against dense sampling, symmetries and degenerate solids.

use corymb_geometry::solids::{
    closest_in_box, point_box, point_limb, point_segment, polyline_length, segment_segment,
};
use nalgebra::{Isometry3, Vector3};
use proptest::prelude::*;

fn point() -> impl Strategy<Value = Vector3<f64>> {
    // whole numbers often, for parallel, touching and degenerate cases
    prop_oneof![
        prop::array::uniform3(-2.0..2.0f64),
        prop::array::uniform3((-2i32..3).prop_map(f64::from))
    ]
    .prop_map(Vector3::from)
}

fn frame() -> impl Strategy<Value = Isometry3<f64>> {
    (
        prop::array::uniform3(-5.0..5.0f64),
        prop::array::uniform3(-2.0..2.0f64),
    )
        .prop_map(|(t, r)| Isometry3::new(t.into(), r.into()))
}

fn shares(n: u32) -> impl Iterator<Item = f64> + Clone {
    (0..=n).map(move |i| f64::from(i) / f64::from(n))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_point_of_the_segment_is_nearer(p in point(), a in point(), b in point()) {
        let got = point_segment(&p, &a, &b);
        prop_assert!((got.closest - a.lerp(&b, got.share)).norm() < 1e-12);
        prop_assert!(((p - got.closest).norm() - got.distance_m).abs() < 1e-12);
        for share in shares(100) {
            prop_assert!((p - a.lerp(&b, share)).norm() >= got.distance_m - 1e-12);
        }
    }

    #[test]
    fn no_pair_of_points_is_nearer(a0 in point(), a1 in point(), b0 in point(), b1 in point(), f in frame()) {
        let got = segment_segment(&a0, &a1, &b0, &b1);
        prop_assert!((0.0..=1.0).contains(&got.share_a) && (0.0..=1.0).contains(&got.share_b));
        prop_assert!((got.on_a - a0.lerp(&a1, got.share_a)).norm() < 1e-12);
        prop_assert!((got.on_b - b0.lerp(&b1, got.share_b)).norm() < 1e-12);
        // the distance to a segment is convex along the other one: dense samples of one, exact in the other
        for share in shares(60) {
            prop_assert!(point_segment(&a0.lerp(&a1, share), &b0, &b1).distance_m >= got.distance_m - 1e-9);
            prop_assert!(point_segment(&b0.lerp(&b1, share), &a0, &a1).distance_m >= got.distance_m - 1e-9);
        }
        let swapped = segment_segment(&b1, &b0, &a0, &a1);
        prop_assert!((swapped.distance_m - got.distance_m).abs() < 1e-9);
        let m = |p: Vector3<f64>| f.transform_point(&p.into()).coords;
        let moved = segment_segment(&m(a0), &m(a1), &m(b0), &m(b1));
        prop_assert!((moved.distance_m - got.distance_m).abs() < 1e-9, "{:?} {:?}", moved, got);
    }

    #[test]
    fn nearly_parallel_segments_keep_their_distance(a0 in point(), along in point(), off in point(), tilt in -14.0..-4.0f64, side in point()) {
        prop_assume!(along.norm() > 0.1);
        let (a1, b0) = (a0 + along, a0 + off);
        let b1 = b0 + along * 1.3 + side * 10f64.powf(tilt);
        let got = segment_segment(&a0, &a1, &b0, &b1);
        for share in shares(200) {
            prop_assert!(point_segment(&a0.lerp(&a1, share), &b0, &b1).distance_m >= got.distance_m - 1e-9);
        }
    }

    #[test]
    fn no_point_of_the_limb_is_nearer(p in point(), points in prop::collection::vec(point(), 1..6), radius in 0.001..0.05f64) {
        let radii: Vec<f64> = (0..points.len()).map(|i| radius / (1.0 + i as f64)).collect();
        let got = point_limb(&p, &points, &radii).unwrap();
        let mut arc = 0.0;
        let mut nearest = (p - points[0]).norm();
        for (i, pair) in points.windows(2).enumerate() {
            for share in shares(50) {
                nearest = nearest.min((p - pair[0].lerp(&pair[1], share)).norm());
            }
            if i == got.segment_idx {
                prop_assert!((got.arc_m - arc - got.share * (pair[1] - pair[0]).norm()).abs() < 1e-12);
                let radius = radii[i] + (radii[i + 1] - radii[i]) * got.share;
                prop_assert!((got.radius_m - radius).abs() < 1e-12);
            }
            arc += (pair[1] - pair[0]).norm();
        }
        prop_assert!(got.axis_distance_m <= nearest + 1e-12);
        prop_assert!((got.closest - p).norm() - got.axis_distance_m < 1e-12);
        prop_assert!(got.arc_m <= polyline_length(&points) + 1e-12);
        prop_assert!((got.surface_distance_m() + got.radius_m - got.axis_distance_m).abs() < 1e-12);
    }

    #[test]
    fn the_box_distance_is_that_to_its_nearest_point(p in point(), size in prop::array::uniform3(0.0..3.0f64)) {
        let distance = point_box(&p, &size);
        let closest = closest_in_box(&p, &size);
        if distance > 0.0 {
            prop_assert!(((p - closest).norm() - distance).abs() < 1e-12);
        } else {
            prop_assert_eq!(closest, p);
            // inside: the nearest face
            let to_face = (0..3).map(|i| 0.5 * size[i] - p[i].abs()).fold(f64::INFINITY, f64::min);
            prop_assert!((distance + to_face).abs() < 1e-12);
        }
    }
}

#[test]
fn degenerate_solids_have_distances() {
    let (o, x) = (Vector3::zeros(), Vector3::x());
    assert_eq!(point_segment(&x, &o, &o).distance_m, 1.0);
    assert_eq!(segment_segment(&o, &o, &x, &x).distance_m, 1.0);
    assert_eq!(segment_segment(&o, &x, &o, &x).distance_m, 0.0);
    assert_eq!(segment_segment(&o, &o, &-x, &(x * 3.0)).distance_m, 0.0);
    assert_eq!(point_limb(&x, &[], &[]), None);
    let lone = point_limb(&x, &[o], &[0.1]).unwrap();
    assert_eq!(
        (lone.axis_distance_m, lone.radius_m, lone.arc_m),
        (1.0, 0.1, 0.0)
    );
    // missing radii count as zero
    assert_eq!(
        point_limb(&x, &[o, Vector3::y()], &[]).unwrap().radius_m,
        0.0
    );
    assert_eq!(point_box(&o, &[0.0; 3]), 0.0);
    assert_eq!(point_box(&(x * 2.0), &[2.0, 2.0, 2.0]), 1.0);
    assert_eq!(point_box(&o, &[2.0, 4.0, 6.0]), -1.0);
}
