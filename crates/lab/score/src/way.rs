//! The straight way of the tool's enclosure, and the solid things that it may meet.

use crate::cylinder::Cylinder;
use corymb_model::arm::ToolSpec;
use corymb_model::orchard::{ObstacleShape, OrchardModel};
use nalgebra::{Isometry3, UnitQuaternion, Vector3};

/// Distance between the poses that are looked at, metres; far less than the enclosure's length, so that nothing is
/// stepped over.
const STEP_M: f64 = 0.001;
/// Overlap that is rounding, metres: a fruit that fits exactly fits.
pub(crate) const TINY_M: f64 = 1e-6;

/// A thick segment, orchard frame, metres.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Thick {
    pub(crate) a: Vector3<f64>,
    pub(crate) b: Vector3<f64>,
    pub(crate) radius_a_m: f64,
    pub(crate) radius_b_m: f64,
}

/// An obstacle.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Solid {
    Capsule(Thick),
    Box {
        orchard_from_box: Isometry3<f64>,
        size_m: [f64; 3],
    },
}

/// The enclosure at one pose of the way.
pub(crate) struct Place {
    pub(crate) cylinder: Cylinder,
    orchard_from_tool: Isometry3<f64>,
}

impl Place {
    pub(crate) fn p_in_tool(&self, p_in_orchard: &Vector3<f64>) -> Vector3<f64> {
        p_in_tool(&self.orchard_from_tool, p_in_orchard)
    }
}

/// The way of the enclosure: from standoff to enclose, and on to the cut where that is elsewhere.
pub(crate) struct Way {
    places: Vec<Place>,
    pub(crate) middle: Vector3<f64>,
    /// Farthest that anything of the swept enclosure lies from `middle`, metres.
    pub(crate) reach_m: f64,
}

impl Way {
    /// The way of `tool`, of which `enclose` and `cut` are `orchard_from_tool` at the end of the approach and when the
    /// blade closes.
    pub(crate) fn of(tool: &ToolSpec, enclose: &Isometry3<f64>, cut: &Isometry3<f64>) -> Self {
        let cylinder = Cylinder {
            radius_m: tool.outer_radius_m,
            length_m: tool.length_m,
        };
        let mut standoff = *enclose;
        standoff.translation.vector -= enclose.rotation * Vector3::z() * tool.standoff_m;
        let mut poses = straight(&standoff, enclose);
        poses.extend(straight(enclose, cut));
        let places: Vec<Place> = poses
            .into_iter()
            .map(|orchard_from_tool| Place {
                cylinder,
                orchard_from_tool,
            })
            .collect();
        let middle = (standoff.translation.vector + enclose.translation.vector) / 2.0;
        let farthest = places
            .iter()
            .map(|p| (p.orchard_from_tool.translation.vector - middle).norm());
        let reach_m = farthest.fold(0.0, f64::max) + cylinder.length_m.hypot(cylinder.radius_m);
        Self {
            places,
            middle,
            reach_m,
        }
    }

    /// Least value over the way.
    pub(crate) fn least(&self, of: impl Fn(&Place) -> f64) -> f64 {
        self.places.iter().map(of).fold(f64::INFINITY, f64::min)
    }

    /// Whether the enclosure meets a thick segment anywhere.
    pub(crate) fn meets(&self, thick: &Thick) -> bool {
        let half_m = (thick.b - thick.a).norm() / 2.0;
        let radius_m = thick.radius_a_m.max(thick.radius_b_m);
        let middle = (thick.a + thick.b) / 2.0;
        if (middle - self.middle).norm() > self.reach_m + half_m + radius_m {
            return false;
        }
        self.places.iter().any(|at| {
            let near = at.cylinder.distance(&at.p_in_tool(&middle)) < half_m + radius_m;
            let gap = || {
                let (a, b) = (at.p_in_tool(&thick.a), at.p_in_tool(&thick.b));
                at.cylinder
                    .gap_to_segment(&a, &b, thick.radius_a_m, thick.radius_b_m)
            };
            near && gap() < -TINY_M
        })
    }

    /// Whether the enclosure meets an obstacle anywhere.
    pub(crate) fn meets_solid(&self, solid: &Solid) -> bool {
        match solid {
            Solid::Capsule(thick) => self.meets(thick),
            Solid::Box {
                orchard_from_box,
                size_m,
            } => {
                let around_m = Vector3::from(*size_m).norm() / 2.0;
                let middle = orchard_from_box.translation.vector;
                if (middle - self.middle).norm() > self.reach_m + around_m {
                    return false;
                }
                self.places.iter().any(|at| {
                    let near = at.cylinder.distance(&at.p_in_tool(&middle)) <= around_m;
                    near && at
                        .cylinder
                        .touches_box(&(at.orchard_from_tool.inverse() * orchard_from_box), size_m)
                })
            }
        }
    }
}

/// Poses on the straight way from one to another, both included, a step apart.
fn straight(from: &Isometry3<f64>, to: &Isometry3<f64>) -> Vec<Isometry3<f64>> {
    let length_m = (to.translation.vector - from.translation.vector).norm();
    let turn_rad = from.rotation.angle_to(&to.rotation);
    // a turn moves the far end of the enclosure about as much as a decimetre times the angle
    // positive and small
    let steps = (length_m.max(0.1 * turn_rad) / STEP_M).ceil() as usize;
    let turn = (from.rotation.inverse() * to.rotation).scaled_axis();
    (0..=steps)
        .map(|i| {
            let s = i as f64 / steps.max(1) as f64;
            let rotation = from.rotation * UnitQuaternion::from_scaled_axis(turn * s);
            let translation = from.translation.vector.lerp(&to.translation.vector, s);
            Isometry3::from_parts(translation.into(), rotation)
        })
        .collect()
}

/// The limbs of an orchard, segment by segment.
pub(crate) fn limbs_of(orchard: &OrchardModel) -> Vec<Thick> {
    let mut limbs = Vec::new();
    for limb in orchard.trees.iter().flat_map(|t| &t.limbs) {
        for (points, radii) in limb.points.windows(2).zip(limb.radii_m.windows(2)) {
            limbs.push(Thick {
                a: points[0].xyz,
                b: points[1].xyz,
                radius_a_m: radii[0],
                radius_b_m: radii[1],
            });
        }
    }
    limbs
}

/// The obstacles of an orchard.
pub(crate) fn obstacles_of(orchard: &OrchardModel) -> Vec<Solid> {
    let solid = |shape: &ObstacleShape| match *shape {
        ObstacleShape::Capsule { a, b, radius_m } => Solid::Capsule(Thick {
            a: a.xyz,
            b: b.xyz,
            radius_a_m: radius_m,
            radius_b_m: radius_m,
        }),
        ObstacleShape::Box {
            orchard_from_box,
            size_m,
        } => Solid::Box {
            orchard_from_box: orchard_from_box.iso,
            size_m,
        },
    };
    orchard.obstacles.iter().map(|o| solid(&o.shape)).collect()
}

/// A point of the orchard frame in the tool frame.
pub(crate) fn p_in_tool(
    orchard_from_tool: &Isometry3<f64>,
    p_in_orchard: &Vector3<f64>,
) -> Vector3<f64> {
    orchard_from_tool.rotation.inverse() * (p_in_orchard - orchard_from_tool.translation.vector)
}
