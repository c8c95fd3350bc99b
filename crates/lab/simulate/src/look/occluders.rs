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

/// A shape with a ball around it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Occluder {
    pub(crate) shape: Shape,
    /// Position in the crop's bodies, where it is one.
    pub(crate) body_idx: Option<usize>,
    direction: Vector3<f64>,
    distance: f64,
    radius: f64,
    /// Half angle of the ball as seen from the camera, radians.
    half_angle: f64,
}

impl Occluder {
    pub(crate) fn new(shape: Shape, body_idx: Option<usize>) -> Self {
        let (centre, radius) = match &shape {
            Shape::Body(s) => (s.centre, s.outer_radius()),
            Shape::Capsule { a, b, radius } => ((a + b) * 0.5, (a - b).norm() * 0.5 + radius),
            Shape::Leaf { centre, u, v, .. } => (*centre, 1.0 / u.norm().min(v.norm())),
        };
        let distance = centre.norm().max(1e-9);
        let half_angle = if distance > radius {
            (radius / distance).asin()
        } else {
            std::f64::consts::PI
        };
        Self {
            shape,
            body_idx,
            direction: centre / distance,
            distance,
            radius,
            half_angle,
        }
    }

    /// Whether it may hide something of a ball, seen from the camera.
    pub(crate) fn may_hide(&self, centre: &Vector3<f64>, radius: f64) -> bool {
        let distance = centre.norm();
        if self.distance - self.radius > distance + radius || distance <= radius {
            return false;
        }
        let both = self.half_angle + (radius / distance).asin();
        both >= std::f64::consts::PI || self.direction.dot(centre) / distance > both.cos()
    }

    /// Whether it cuts the ray from the camera to `p`, before `p` by at least `margin` (a share of the way).
    pub(crate) fn hides(&self, p: &Vector3<f64>, margin: f64) -> bool {
        let before = 1.0 - margin;
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
