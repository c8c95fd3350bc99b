//! What may stand between the camera and a thing.

use super::spheroid::Spheroid;
use nalgebra::Vector3;

/// A thing that hides others, camera frame, metres.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Shape {
    /// A body.
    Body(Spheroid),
    /// A piece of wood, wire or post.
    Capsule {
        a: Vector3<f64>,
        b: Vector3<f64>,
        radius: f64,
    },
    /// A leaf: an ellipse with half axes `u` and `v` (their norms squared divided out) about `centre`.
    Leaf {
        centre: Vector3<f64>,
        normal: Vector3<f64>,
        u: Vector3<f64>,
        v: Vector3<f64>,
    },
}

/// A shape with the cone in which it lies.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Occluder {
    pub(crate) shape: Shape,
    /// Position in the crop's bodies, where it is one.
    pub(crate) body_idx: Option<usize>,
    cone: Cone,
}

/// The cone from the camera about a ball.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cone {
    /// Unit vector to the ball's centre.
    direction: Vector3<f64>,
    /// To the centre, metres.
    distance: f64,
    radius: f64,
    /// Cosine and sine of the half angle; -1 and 0 with the camera in the ball.
    cos: f64,
    sin: f64,
}

/// A line of sight to a point.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sight {
    /// Unit vector.
    direction: Vector3<f64>,
    /// To the point, metres.
    distance: f64,
}

impl Sight {
    pub(crate) fn to(p: &Vector3<f64>) -> Self {
        let distance = p.norm().max(1e-9);
        Self {
            direction: p / distance,
            distance,
        }
    }
}

impl Cone {
    pub(crate) fn about(centre: &Vector3<f64>, radius: f64) -> Self {
        let distance = centre.norm().max(1e-9);
        let sin = radius / distance;
        let (sin, cos) = if sin < 1.0 {
            (sin, (1.0 - sin * sin).sqrt())
        } else {
            (0.0, -1.0)
        };
        Self {
            direction: centre / distance,
            distance,
            radius,
            cos,
            sin,
        }
    }

    /// Whether two cones have a ray in common.
    fn meets(&self, other: &Self) -> bool {
        // half angles below a right angle each: their sum is at most a half turn, where the cosine falls
        let both = self.cos * other.cos - self.sin * other.sin;
        let inside = self.cos < 0.0 || other.cos < 0.0;
        inside || self.direction.dot(&other.direction) > both
    }
}

impl Occluder {
    pub(crate) fn new(shape: Shape, body_idx: Option<usize>) -> Self {
        let (centre, radius) = match &shape {
            Shape::Body(s) => (s.centre, s.outer_radius()),
            Shape::Capsule { a, b, radius } => ((a + b) * 0.5, (a - b).norm() * 0.5 + radius),
            Shape::Leaf { centre, u, v, .. } => (*centre, 1.0 / u.norm().min(v.norm())),
        };
        let cone = Cone::about(&centre, radius);
        Self {
            shape,
            body_idx,
            cone,
        }
    }

    /// Whether it may hide something of a ball.
    pub(crate) fn may_hide(&self, ball: &Cone) -> bool {
        let nearer = self.cone.distance - self.cone.radius < ball.distance + ball.radius;
        nearer && self.cone.meets(ball)
    }

    /// Whether it cuts the line of sight before its end by at least `margin_m`.
    pub(crate) fn hides(&self, sight: &Sight, margin_m: f64) -> bool {
        let p = &sight.direction;
        if self.cone.direction.dot(p) < self.cone.cos {
            return false;
        }
        let before = sight.distance - margin_m;
        match &self.shape {
            Shape::Body(s) => s.entry(p).is_some_and(|t| t > 0.0 && t < before),
            Shape::Leaf {
                centre,
                normal,
                u,
                v,
            } => {
                let facing = normal.dot(p);
                if facing.abs() < 1e-12 {
                    return false;
                }
                let t = normal.dot(centre) / facing;
                let off = p * t - centre;
                t > 0.0 && t < before && off.dot(u).powi(2) + off.dot(v).powi(2) < 1.0
            }
            Shape::Capsule { a, b, radius } => {
                let (t, gap2) = ray_to_segment(p, a, b);
                t > 0.0 && t < before && gap2 < radius * radius
            }
        }
    }
}

/// For the ray `t p` (t >= 0) and the segment from `a` to `b`: the `t` of its point nearest to the segment and the
/// squared distance there (Ericson 2005, Real-Time Collision Detection, 5.1.9).
fn ray_to_segment(p: &Vector3<f64>, a: &Vector3<f64>, b: &Vector3<f64>) -> (f64, f64) {
    let d = b - a;
    let (pp, dd, pd) = (p.norm_squared(), d.norm_squared(), p.dot(&d));
    let (pa, da) = (p.dot(a), d.dot(a));
    let det = pp * dd - pd * pd;
    let s = if det > 1e-18 * pp * dd {
        ((pa * pd - da * pp) / det).clamp(0.0, 1.0)
    } else {
        0.5
    };
    let q = a + d * s;
    let t = p.dot(&q).max(0.0) / pp;
    (t, (p * t - q).norm_squared())
}

/// The shape of a leaf from its half axes.
pub(crate) fn leaf(
    centre: Vector3<f64>,
    along: Vector3<f64>,
    normal: Vector3<f64>,
    half: [f64; 2],
) -> Shape {
    Shape::Leaf {
        centre,
        normal,
        u: along / half[0],
        v: normal.cross(&along) / half[1],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn vector(low: f64, high: f64) -> impl Strategy<Value = Vector3<f64>> {
        prop::array::uniform3(low..high).prop_map(Vector3::from)
    }

    fn sight(p: Vector3<f64>) -> Sight {
        Sight::to(&p)
    }

    #[test]
    fn a_leaf_hides_what_is_behind_it_and_within_it() {
        let shape = leaf(
            Vector3::new(0.0, 0.0, 0.5),
            Vector3::x(),
            Vector3::z(),
            [0.03, 0.01],
        );
        let leaf = Occluder::new(shape, None);
        assert!(leaf.hides(&sight(Vector3::new(0.0, 0.0, 0.6)), 1e-3));
        assert!(
            !leaf.hides(&sight(Vector3::new(0.0, 0.0, 0.4)), 1e-3),
            "it is behind"
        );
        assert!(leaf.hides(&sight(Vector3::new(0.058, 0.0, 1.0)), 1e-3));
        assert!(
            !leaf.hides(&sight(Vector3::new(0.0, 0.022, 1.0)), 1e-3),
            "it is narrow"
        );
    }

    #[test]
    fn an_edge_on_leaf_hides_nothing() {
        let shape = leaf(
            Vector3::new(0.0, 0.0, 0.5),
            Vector3::z(),
            Vector3::x(),
            [0.03, 0.01],
        );
        assert!(!Occluder::new(shape, None).hides(&sight(Vector3::new(0.0, 0.001, 1.0)), 1e-3));
    }

    #[test]
    fn wood_hides_what_is_behind_its_width() {
        let (a, b) = (Vector3::new(-0.2, 0.0, 0.5), Vector3::new(0.2, 0.0, 0.5));
        let limb = Occluder::new(Shape::Capsule { a, b, radius: 0.01 }, None);
        assert!(limb.hides(&sight(Vector3::new(0.3, 0.0, 1.0)), 1e-3));
        assert!(limb.hides(&sight(Vector3::new(0.0, 0.0195, 1.0)), 1e-3));
        assert!(
            !limb.hides(&sight(Vector3::new(0.0, 0.0205, 1.0)), 1e-3),
            "above it"
        );
        assert!(
            !limb.hides(&sight(Vector3::new(0.44, 0.0, 1.0)), 1e-3),
            "beyond its end"
        );
        assert!(
            !limb.hides(&sight(Vector3::new(0.0, 0.0, 0.45)), 1e-3),
            "before it"
        );
    }

    proptest! {
        /// Against the nearest of many points of ray and segment.
        #[test]
        fn ray_and_segment_are_nearest_where_said(a in vector(-1.0, 1.0), b in vector(-1.0, 1.0), p in vector(-1.0, 1.0)) {
            prop_assume!(p.norm() > 0.05);
            let p = p.normalize();
            let (t, gap2) = ray_to_segment(&p, &a, &b);
            let brute = (0..=2_000).map(|k| {
                let q = a.lerp(&b, f64::from(k) / 2_000.0);
                (p * p.dot(&q).max(0.0) - q).norm_squared()
            });
            let brute = brute.fold(f64::INFINITY, f64::min);
            // where the nearest point would lie behind the camera, only an overestimate is needed
            prop_assert!(gap2 >= brute - 1e-12 - 2e-3 * brute.sqrt());
            if t > 1e-9 {
                prop_assert!(gap2 <= brute + 1e-9, "{gap2} against {brute}");
            }
        }

        /// A cone may be passed over only where no sight line is cut.
        #[test]
        fn cones_never_lose_an_occluder(
            c in vector(-0.2, 0.2), along in vector(-0.05, 0.05), target in vector(-0.2, 0.2),
            r in 0.001..0.05_f64, kind in 0..3_u8, inside in vector(-0.57, 0.57),
        ) {
            let centre = c + Vector3::z() * 0.5;
            prop_assume!(along.norm() > 1e-3);
            let shape = match kind {
                0 => Shape::Body(Spheroid { centre, axis: along.normalize(), radius: r, ratio: 1.1 }),
                1 => Shape::Capsule { a: centre - along, b: centre + along, radius: r },
                _ => leaf(centre, along.normalize(), across(&along), [r, 0.6 * r]),
            };
            let occluder = Occluder::new(shape, None);
            let ball = target + Vector3::z() * 0.7;
            let p = ball + inside * 0.02;
            let line = sight(p);
            if occluder.hides(&line, 0.0) {
                prop_assert!(occluder.may_hide(&Cone::about(&ball, 0.02)));
            }
            let bare = Occluder { cone: Cone { cos: -1.0, ..occluder.cone }, ..occluder };
            prop_assert_eq!(bare.hides(&line, 0.0), occluder.hides(&line, 0.0), "the quick test changed the answer");
        }
    }

    fn across(v: &Vector3<f64>) -> Vector3<f64> {
        crate::grow::across(&v.normalize()).0
    }
}
