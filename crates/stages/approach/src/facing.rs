//! A problem seen from the tool at one tilt.

use crate::chance::ln_in_disc;
use crate::field::Set;
use crate::judge::{Condition, Finding};
use crate::problem::Problem;
use crate::solids::SolidShape;
use crate::surroundings::StemLine;
use crate::sweep::Tapered;
use nalgebra::{Isometry3, Matrix3, Matrix4, Rotation3, Translation3, UnitQuaternion, Vector3};

/// A problem turned into the tool frame at one tilt, about the centre of the enclosed fruit.
#[derive(Debug, Default)]
pub(crate) struct Facing {
    /// The tilt that it was turned to, and which of the fruit that may be removed were turned.
    turned: Option<([f64; 2], Set)>,
    pub rotation: Matrix3<f64>,
    pub own: FacingBody,
    /// Variance of the enclosed fruit across and along the tool, and of its radius; its covariance of z and radius.
    pub across_var: f64,
    pub along_var: f64,
    pub radius_var: f64,
    pub along_radius_cov: f64,
    pub tilt: Option<Finding>,
    pub neighbours: Vec<FacingBody>,
    pub solids: Vec<FacingSolid>,
}

/// A fruit with its stem.
#[derive(Debug, Default, Clone, Copy)]
pub(crate) struct FacingBody {
    pub centre: Vector3<f64>,
    pub top: Vector3<f64>,
    pub spur: Vector3<f64>,
    /// Standard deviations of the heights of top and spur along the tool.
    pub top_sd: f64,
    pub spur_sd: f64,
}

/// A limb or an obstacle.
#[derive(Debug, Clone, Copy)]
pub(crate) enum FacingSolid {
    Capsule(Tapered),
    Box {
        tool_from_box: Isometry3<f64>,
        half_m: Vector3<f64>,
    },
}

impl Facing {
    /// Turns the problem, always the same one, with the fruit of `present` among those that may be removed; the
    /// buffers are used again.
    pub(crate) fn turn(&mut self, problem: &Problem<'_>, tilt: &[f64; 2], present: Set) {
        if self
            .turned
            .is_some_and(|(was, had)| was == *tilt && had & present == present)
        {
            return;
        }
        self.turned = Some((*tilt, present));
        let rotation = problem.rotation(tilt);
        let back = rotation.transpose();
        let middle = problem.body.centre;
        let (forward, tool_var) = (rotation.column(2).into_owned(), problem.located.tool_var);
        let place = |centre: &Vector3<f64>, stem: &StemLine| FacingBody {
            centre: back * (centre - middle),
            top: back * (stem.top - middle),
            spur: back * (stem.spur - middle),
            top_sd: ((forward.transpose() * stem.top_cov * forward).x + tool_var).sqrt(),
            spur_sd: (stem.spur_var + tool_var).sqrt(),
        };
        self.own = place(&middle, &problem.body.stem);
        self.neighbours.clear();
        self.neighbours.extend(problem.neighbours.iter().map(|n| {
            if n.slot.is_none_or(|slot| present & (1 << slot) != 0) {
                place(&n.body.centre, &n.body.stem)
            } else {
                FacingBody::default()
            }
        }));
        self.solids.clear();
        let solids = problem.solids.iter();
        self.solids
            .extend(solids.map(|s| seen_from_tool(&s.shape, &back, &middle)));
        self.errors_along(&problem.body.cov, &forward);
        self.rotation = rotation;
        let (tilt_rad, most) = (tilt[0].hypot(tilt[1]), problem.tool.tilt_tolerance_rad);
        let ln = ln_in_disc(tilt_rad, most, problem.axis_sd);
        self.tilt = Some(Finding {
            condition: Condition::Tilt,
            spare: most - tilt_rad,
            ln,
        });
    }

    /// Variances of the enclosed fruit along the tool and across it.
    fn errors_along(&mut self, cov: &Matrix4<f64>, forward: &Vector3<f64>) {
        let centre_cov = cov.fixed_view::<3, 3>(0, 0);
        self.along_var = (forward.transpose() * centre_cov * forward).x;
        self.across_var = 0.5 * (centre_cov.trace() - self.along_var);
        self.radius_var = cov[(3, 3)];
        self.along_radius_cov = cov.fixed_view::<3, 1>(0, 3).dot(forward);
    }
}

/// A solid turned by `back` (tool from orchard) about `middle`.
fn seen_from_tool(shape: &SolidShape, back: &Matrix3<f64>, middle: &Vector3<f64>) -> FacingSolid {
    match shape {
        SolidShape::Capsule(solid) => FacingSolid::Capsule(Tapered {
            a: back * (solid.a - middle),
            b: back * (solid.b - middle),
            ..*solid
        }),
        SolidShape::Box {
            orchard_from_box,
            half_m,
        } => {
            let turn =
                UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(*back));
            let centre = back * (orchard_from_box.translation.vector - middle);
            let tool_from_box =
                Isometry3::from_parts(Translation3::from(centre), turn * orchard_from_box.rotation);
            FacingSolid::Box {
                tool_from_box,
                half_m: *half_m,
            }
        }
    }
}
