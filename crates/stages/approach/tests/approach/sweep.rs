//! The sweep against brute force.

use corymb_approach::sweep::{Cylinder, Rims, Tapered, crossing};
use nalgebra::{Isometry3, Translation3, UnitQuaternion, Vector3};
use proptest::prelude::*;

fn point(reach: f64) -> impl Strategy<Value = Vector3<f64>> {
    prop::array::uniform3(-reach..reach).prop_map(Vector3::from)
}

fn cylinder() -> impl Strategy<Value = Cylinder> {
    (0.005..0.04_f64, 0.01..0.1_f64).prop_map(|(radius_m, length)| Cylinder {
        radius_m,
        low_m: -length,
        high_m: 0.0,
        rims: Rims::Round,
    })
}

/// Distance by the nearest point; 0 inside.
fn plainly(c: &Cylinder, p: &Vector3<f64>) -> f64 {
    let rho = p.xy().norm();
    let shrink = if rho > c.radius_m {
        c.radius_m / rho
    } else {
        1.0
    };
    (p - Vector3::new(p.x * shrink, p.y * shrink, p.z.clamp(c.low_m, c.high_m))).norm()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn sweep_against_a_sphere_is_as_sampled(
        c in cylinder(), p in point(0.15), radius in 0.002..0.02, way in 0.0..0.15,
    ) {
        let closed = c.swept_from_behind(way).to_sphere(&p, radius);
        let mut least = f64::INFINITY;
        for k in 0..=100 {
            // the cup stands back by this much: the fruit lies further ahead in its frame
            let back = way * f64::from(k) / 100.0;
            least = least.min(plainly(&c, &(p + Vector3::z() * back)) - radius);
        }
        let missed = way / 200.0 + 1e-12;
        prop_assert!(closed <= least + 1e-12, "{closed} {least}");
        prop_assert!(closed.max(-radius) >= least - missed, "{closed} {least}");
    }

    #[test]
    fn distance_has_its_gradient(c in cylinder(), p in point(0.15)) {
        let (distance, outward) = c.distance_outward(&p);
        prop_assert!((distance - c.distance(&p)).abs() < 1e-15);
        prop_assert!((outward.norm() - 1.0).abs() < 1e-12);
        // a step along the gradient gains what it is long, anywhere outside
        if distance > 1e-6 {
            prop_assert!((c.distance(&(p + outward * 1e-3)) - distance - 1e-3).abs() < 1e-12);
        }
        // inside, the nearest wall is that far
        if distance < 0.0 {
            prop_assert!(c.distance(&(p - outward * distance)).abs() < 1e-12);
        }
    }

    #[test]
    fn capsule_is_as_sampled(
        c in cylinder(), a in point(0.12), b in point(0.12), ra in 0.001..0.02, rb in 0.001..0.02, square in any::<bool>(),
    ) {
        let c = Cylinder { rims: if square { Rims::Square } else { Rims::Round }, ..c };
        let ours = c.to_capsule(&Tapered { a, b, ra_m: ra, rb_m: rb });
        let mut least = f64::INFINITY;
        for k in 0..=400 {
            let s = f64::from(k) / 400.0;
            least = least.min(c.distance(&(a + (b - a) * s)) - ra - (rb - ra) * s);
        }
        let missed = ((b - a).norm() + (rb - ra).abs()) / 800.0;
        prop_assert!(ours <= least + 1e-12, "{ours} {least}");
        prop_assert!(ours >= least - missed - 2e-6, "{ours} {least}");
        let far = c.to_capsule_if_within(&Tapered { a, b, ra_m: ra, rb_m: rb }, 0.01);
        prop_assert!(far <= ours + 1e-12 && (far > 0.01 || far >= ours - 1e-5));
    }

    #[test]
    fn rims_measured_square_are_never_further(c in cylinder(), p in point(0.15)) {
        let square = Cylinder { rims: Rims::Square, ..c };
        prop_assert!(square.distance(&p) <= c.distance(&p));
        prop_assert!(square.distance(&p) >= c.distance(&p) / 2.0_f64.sqrt() - 1e-12 || c.distance(&p) <= 0.0);
    }

    #[test]
    fn stems_cross_where_they_are_said_to(a in point(0.05), b in point(0.05), z in -0.05..0.05) {
        if let Some(s) = crossing(&a, &b, z) {
            let at = a + (b - a) * s;
            prop_assert!((at.z - z).abs() < 1e-9 * (1.0 + s.abs()) + 1e-12);
            prop_assert_eq!((0.0..=1.0).contains(&s), (a.z - z) * (b.z - z) <= 0.0);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn box_is_as_sampled(
        c in cylinder(), at in point(0.12), turn in point(3.0), half in prop::array::uniform3(0.003..0.04),
    ) {
        let half = Vector3::from(half);
        let tool_from_box = Isometry3::from_parts(Translation3::from(at), UnitQuaternion::from_scaled_axis(turn));
        let ours = c.to_box(&tool_from_box, &half);
        let mut least = f64::INFINITY;
        let n = 16;
        for i in 0..=n {
            for j in 0..=n {
                for k in 0..=n {
                    let share = [i, j, k].map(|x| 2.0 * f64::from(x) / f64::from(n) - 1.0);
                    let p = half.component_mul(&Vector3::from(share));
                    least = least.min(plainly(&c, &tool_from_box.transform_point(&p.into()).coords));
                }
            }
        }
        // never further than the true distance, and near it where they are apart
        prop_assert!(ours <= least + 1e-12, "{ours} {least}");
        let missed = half.norm() / f64::from(n);
        prop_assert!(ours >= least - missed - 2e-4 || least <= missed, "{ours} {least}");
    }
}

#[test]
fn on_the_axis_and_at_the_walls() {
    let c = Cylinder {
        radius_m: 1.0,
        low_m: -4.0,
        high_m: 0.0,
        rims: Rims::Round,
    };
    let (distance, outward) = c.distance_outward(&Vector3::new(0.0, 0.0, 2.0));
    assert_eq!((distance, outward), (2.0, Vector3::z()));
    let (distance, outward) = c.distance_outward(&Vector3::new(0.0, 0.0, -2.0));
    assert!((distance + 1.0).abs() < 1e-15 && outward.z.abs() < 1e-15);
    // 3-4-5 at the rim
    assert!((c.distance(&Vector3::new(4.0, 0.0, 4.0)) - 5.0).abs() < 1e-15);
    let point = Vector3::new(0.0, 0.0, 1.0);
    let ball = Tapered {
        a: point,
        b: point,
        ra_m: 0.25,
        rb_m: 0.25,
    };
    assert!((c.to_capsule(&ball) - 0.75).abs() < 1e-12);
    assert_eq!(crossing(&point, &point, 1.0), None);
}
