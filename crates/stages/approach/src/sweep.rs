//! A tool moving straight ahead against spheres, capsules and boxes, in closed form or with a bound on the safe side.
//!
//! Everything is in the tool frame. A cylinder about z that moves along z sweeps a cylinder about z, so against a
//! sphere the sweep is a problem in two coordinates: the distance from the axis, and z.

use nalgebra::{Isometry3, Vector3};

/// A solid cylinder about the z axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cylinder {
    /// Radius, metres.
    pub radius_m: f64,
    /// z of its back.
    pub low_m: f64,
    /// z of its front.
    pub high_m: f64,
    /// How distance is measured past its rims.
    pub rims: Rims,
}

/// How the distance of a point that lies both beside and beyond a cylinder is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rims {
    /// To the nearest point of the rim.
    Round,
    /// The larger of the ways beside and along: never more, as for a blade that throws and bends.
    Square,
}

/// A tapered capsule: the balls about the points of a segment, their radii linear from end to end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tapered {
    /// One end, metres.
    pub a: Vector3<f64>,
    /// The other end, metres.
    pub b: Vector3<f64>,
    /// Radius at `a`, metres.
    pub ra_m: f64,
    /// Radius at `b`, metres.
    pub rb_m: f64,
}

/// Tangents laid in [`Cylinder::to_capsule`] at most; a handful is usual.
const TANGENTS: usize = 40;
/// The bound that it returns lies at most this far below the true distance, metres, unless the tangents run out.
const CAPSULE_TOLERANCE_M: f64 = 1e-6;
/// Projections to and fro in [`Cylinder::to_box`]; the bound that it returns is valid after any number.
const PROJECTIONS: usize = 40;

/// A convex function at a point.
#[derive(Debug, Clone, Copy)]
struct Tangent {
    s: f64,
    height: f64,
    slope: f64,
}

impl Tangent {
    /// Where this tangent, which falls, meets one further on that rises.
    fn meets(&self, right: &Tangent) -> Tangent {
        let s = (right.height - self.height + self.slope * self.s - right.slope * right.s)
            / (self.slope - right.slope);
        let s = s.clamp(self.s, right.s);
        Tangent {
            s,
            height: self.height + self.slope * (s - self.s),
            slope: 0.0,
        }
    }
}

impl Cylinder {
    /// What the cylinder passes over on a straight way of `way_m` that ends where it is now.
    #[must_use]
    pub fn swept_from_behind(self, way_m: f64) -> Cylinder {
        Cylinder {
            low_m: self.low_m - way_m,
            ..self
        }
    }

    /// Distance of a point from the solid, metres; inside it is negative: minus the way to the nearest wall.
    #[must_use]
    pub fn distance(&self, p: &Vector3<f64>) -> f64 {
        let radial = (p.x * p.x + p.y * p.y).sqrt() - self.radius_m;
        let axial = (self.low_m - p.z).max(p.z - self.high_m);
        if radial > 0.0 && axial > 0.0 && self.rims == Rims::Round {
            (radial * radial + axial * axial).sqrt()
        } else {
            radial.max(axial)
        }
    }

    /// [`Cylinder::distance`] with its gradient, a unit vector (one of them where there are several).
    #[must_use]
    pub fn distance_outward(&self, p: &Vector3<f64>) -> (f64, Vector3<f64>) {
        let rho = (p.x * p.x + p.y * p.y).sqrt();
        let radial = rho - self.radius_m;
        let (axial, ahead) = if p.z - self.high_m > self.low_m - p.z {
            (p.z - self.high_m, 1.0)
        } else {
            (self.low_m - p.z, -1.0)
        };
        let away = if rho > 1e-12 {
            Vector3::new(p.x / rho, p.y / rho, 0.0)
        } else {
            Vector3::x()
        };
        if radial > 0.0 && axial > 0.0 && self.rims == Rims::Round {
            let distance = (radial * radial + axial * axial).sqrt();
            (
                distance,
                (away * radial + Vector3::z() * (ahead * axial)) / distance,
            )
        } else if radial > axial {
            (radial, away)
        } else {
            (axial, Vector3::z() * ahead)
        }
    }

    /// Distance from a sphere, metres; negative where they overlap.
    #[must_use]
    pub fn to_sphere(&self, centre: &Vector3<f64>, radius_m: f64) -> f64 {
        self.distance(centre) - radius_m
    }

    /// Distance from a tapered capsule, metres. Never more than the true distance, and less by a micrometre at most.
    ///
    /// The distance to a convex solid along a segment, less a linear radius, is convex. Between two points with slopes
    /// towards each other it lies above both tangents; where they meet is the bound, and the next point (J. E.
    /// Kelley's cutting planes, J. SIAM 8, 1960, in one dimension), in turn with the middle of the interval.
    #[must_use]
    pub fn to_capsule(&self, capsule: &Tapered) -> f64 {
        self.to_capsule_if_within(capsule, f64::INFINITY)
    }

    /// [`Cylinder::to_capsule`], or any value between `far_m` and the distance where that is more than `far_m`.
    #[must_use]
    pub fn to_capsule_if_within(&self, capsule: &Tapered, far_m: f64) -> f64 {
        let Tapered { a, b, ra_m, rb_m } = capsule;
        let (along, taper) = (b - a, rb_m - ra_m);
        let tangent_at = |s: f64| {
            let (distance, outward) = self.distance_outward(&(a + along * s));
            let (height, slope) = (distance - ra_m - taper * s, outward.dot(&along) - taper);
            Tangent { s, height, slope }
        };
        let (mut left, mut right) = (tangent_at(0.0), tangent_at(1.0));
        if left.slope >= 0.0 {
            return left.height;
        }
        if right.slope <= 0.0 {
            return right.height;
        }
        let mut bound = left.meets(&right);
        for k in 0..TANGENTS {
            let least = left.height.min(right.height);
            if bound.height > far_m || least - bound.height < CAPSULE_TOLERANCE_M {
                break;
            }
            let next = tangent_at(if k % 3 == 2 {
                0.5 * (left.s + right.s)
            } else {
                bound.s
            });
            if next.slope > 0.0 {
                right = next;
            } else {
                left = next;
            }
            if next.slope.abs() < f64::EPSILON {
                return next.height;
            }
            bound = left.meets(&right);
        }
        bound.height
    }

    /// Distance from a solid box of half edge lengths `half_m` about the origin of its frame, metres. Never more than
    /// the true distance; negative where no plane separates the two. Rims count as round.
    ///
    /// Every direction gives a lower bound, the gap between the two along it. Tried are the faces of the box, the axis
    /// and the wall of the cylinder, and the direction between the nearest points by alternating projections.
    #[must_use]
    pub fn to_box(&self, tool_from_box: &Isometry3<f64>, half_m: &Vector3<f64>) -> f64 {
        let centre = tool_from_box.translation.vector;
        let rotation = tool_from_box.rotation.to_rotation_matrix();
        let gap = |n: &Vector3<f64>| self.gap_along(n, &centre, &(rotation.inverse() * n), half_m);
        let mut best = gap(&Vector3::z()).max(gap(&-Vector3::z()));
        for axis in 0..3 {
            let face = rotation.matrix().column(axis).into_owned();
            best = best.max(gap(&face)).max(gap(&-face));
        }
        let mut p = centre;
        for _ in 0..PROJECTIONS {
            let q = self.clamp(&p);
            let in_box = tool_from_box.inverse_transform_point(&q.into());
            let clamped = in_box.coords.zip_map(half_m, |x, h| x.clamp(-h, h));
            p = tool_from_box.transform_point(&clamped.into()).coords;
            let between = p - q;
            let norm = between.norm();
            if norm < 1e-9 {
                break;
            }
            best = best.max(gap(&(between / norm)));
        }
        let wall = Vector3::new(p.x, p.y, 0.0);
        if wall.norm() > 1e-9 {
            best.max(gap(&wall.normalize()))
        } else {
            best
        }
    }

    /// How far the box lies beyond the cylinder along the unit vector `n`.
    fn gap_along(
        &self,
        n: &Vector3<f64>,
        centre: &Vector3<f64>,
        n_in_box: &Vector3<f64>,
        half_m: &Vector3<f64>,
    ) -> f64 {
        let nearest_of_box = n.dot(centre) - n_in_box.abs().dot(half_m);
        let across = (n.x * n.x + n.y * n.y).sqrt() * self.radius_m;
        nearest_of_box - across - (n.z * self.low_m).max(n.z * self.high_m)
    }

    /// The point of the cylinder nearest to `p`.
    fn clamp(&self, p: &Vector3<f64>) -> Vector3<f64> {
        let rho = (p.x * p.x + p.y * p.y).sqrt();
        let shrink = if rho > self.radius_m {
            self.radius_m / rho
        } else {
            1.0
        };
        Vector3::new(
            p.x * shrink,
            p.y * shrink,
            p.z.clamp(self.low_m, self.high_m),
        )
    }
}

/// Where a straight stem crosses the plane at `z_m`, as a share of its way from `top` to `spur`, 0 to 1 where it does;
/// `None` where it runs along the plane.
#[must_use]
pub fn crossing(top: &Vector3<f64>, spur: &Vector3<f64>, z_m: f64) -> Option<f64> {
    let rise = spur.z - top.z;
    (rise.abs() > 1e-9).then(|| (z_m - top.z) / rise)
}
