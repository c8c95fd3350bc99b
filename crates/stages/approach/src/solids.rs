//! Limbs and obstacles as the tool may meet them.

use crate::sweep::Tapered;
use corymb_model::orchard::{ObstacleShape, OrchardModel};
use nalgebra::{Isometry3, Vector3};

/// Long segments are found by points along them, at most this far apart, metres.
const LOOKUP_STEP_M: f64 = 0.2;
/// Points at most along one segment.
const LOOKUP_POINTS: f64 = 100_000.0;

/// What a solid thing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum SolidName {
    /// Positions of the tree and of its limb.
    Limb(usize, usize),
    /// Position of the obstacle.
    Obstacle(usize),
}

/// The shape of a solid thing, orchard frame.
#[derive(Debug, Clone, Copy)]
pub(crate) enum SolidShape {
    /// A piece of a limb or a wire.
    Capsule(Tapered),
    /// A box with half edge lengths.
    Box {
        orchard_from_box: Isometry3<f64>,
        half_m: Vector3<f64>,
    },
}

/// Something that must not be met.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Solid {
    /// What it is.
    pub name: SolidName,
    /// Where.
    pub shape: SolidShape,
}

impl Solid {
    /// The part of it that can lie within `reach_m` of `middle`.
    pub(crate) fn clipped(&self, middle: &Vector3<f64>, reach_m: f64) -> Solid {
        let SolidShape::Capsule(Tapered { a, b, ra_m, rb_m }) = self.shape else {
            return *self;
        };
        let along = b - a;
        let length = along.norm();
        if length < 1e-9 {
            return *self;
        }
        let foot = (middle - a).dot(&along) / (length * length);
        let half = (reach_m + ra_m.max(rb_m)) / length;
        let (s, t) = ((foot - half).clamp(0.0, 1.0), (foot + half).clamp(0.0, 1.0));
        let taper = rb_m - ra_m;
        let shape = SolidShape::Capsule(Tapered {
            a: a + along * s,
            b: a + along * t,
            ra_m: ra_m + taper * s,
            rb_m: ra_m + taper * t,
        });
        Solid {
            name: self.name,
            shape,
        }
    }
}

/// Limbs piece by piece, tree by tree, then obstacles.
pub(crate) fn solids_of(orchard: &OrchardModel) -> Vec<Solid> {
    let mut solids = Vec::new();
    for (tree_idx, tree) in orchard.trees.iter().enumerate() {
        for (limb_idx, limb) in tree.limbs.iter().enumerate() {
            for (p, r) in limb.points.windows(2).zip(limb.radii_m.windows(2)) {
                if let ([a, b], [ra_m, rb_m]) = (p, r) {
                    let (a, b, ra_m, rb_m) = (a.xyz, b.xyz, *ra_m, *rb_m);
                    let shape = SolidShape::Capsule(Tapered { a, b, ra_m, rb_m });
                    solids.push(Solid {
                        name: SolidName::Limb(tree_idx, limb_idx),
                        shape,
                    });
                }
            }
        }
    }
    for (obstacle_idx, obstacle) in orchard.obstacles.iter().enumerate() {
        let shape = match obstacle.shape {
            ObstacleShape::Capsule { a, b, radius_m } => SolidShape::Capsule(Tapered {
                a: a.xyz,
                b: b.xyz,
                ra_m: radius_m,
                rb_m: radius_m,
            }),
            ObstacleShape::Box {
                orchard_from_box,
                size_m,
            } => SolidShape::Box {
                orchard_from_box: orchard_from_box.iso,
                half_m: Vector3::from(size_m) * 0.5,
            },
        };
        solids.push(Solid {
            name: SolidName::Obstacle(obstacle_idx),
            shape,
        });
    }
    solids
}

/// Points by which a solid is found, each with how far the part that it stands for reaches from it.
pub(crate) fn lookup_points(shape: &SolidShape) -> Vec<(Vector3<f64>, f64)> {
    match shape {
        SolidShape::Capsule(Tapered { a, b, ra_m, rb_m }) => {
            let length = (b - a).norm();
            let parts = (length / LOOKUP_STEP_M).ceil().clamp(1.0, LOOKUP_POINTS);
            let reach = 0.5 * length / parts + ra_m.max(*rb_m);
            // clamped above
            let count = parts as u32;
            (0..count)
                .map(|k| (a + (b - a) * ((f64::from(k) + 0.5) / parts), reach))
                .collect()
        }
        SolidShape::Box {
            orchard_from_box,
            half_m,
        } => {
            vec![(orchard_from_box.translation.vector, half_m.norm())]
        }
    }
}
