//! A closing written out: poses, stops, probabilities, time, and what was not checked.

use crate::closings::{Closing, Closings, members};
use crate::problem::{Problem, enclosure};
use crate::sight::Seen;
use crate::solids::SolidShape;
use crate::surroundings::Surroundings;
use crate::sweep::Tapered;
use corymb_model::frames::Pose;
use corymb_model::ways::PlannedRemoval;
use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion, Vector3};

/// Clearances are told up to this, metres: further away nothing was looked for.
pub(crate) const LOOKED_AROUND_M: f64 = 0.05;

/// What all removals of a run have in common.
pub(crate) struct Common {
    /// Shifts of all fruit by their shared error, in units of its standard deviation.
    pub shifts: Vec<Vector3<f64>>,
    /// Whether limbs and obstacles are known.
    pub has_orchard: bool,
}

/// A closing as an order will state it. `None` where it does not exist.
pub(crate) fn removal(
    closings: &mut Closings<'_>,
    closing: usize,
    common: &Common,
    seen: Option<&mut Seen<'_>>,
) -> Option<PlannedRemoval> {
    let closing = *closings.get(closing)?;
    let (setting, setup, config) = (closings.setting, closings.setup, closings.config);
    let tool = setup.tools.get(closing.tool_idx)?;
    let idx = |slot: usize| {
        let local = closings.removable.get(slot)?;
        setting.surroundings.bodies.get(*local).map(|body| body.idx)
    };
    let targets: Vec<usize> = members(closing.targets).filter_map(idx).collect();
    let enclosed = idx(closing.enclosed)?;
    let field = closings.field(closing.tool_idx, closing.enclosed)?;
    let unlocated = field.unlocated(&closing.found.aim, &closing.there, &common.shifts);
    let orchard_from_tool = pose_of(&field.problem, &closing);
    let swept = field.problem.swept;
    let forward = orchard_from_tool.rotation * Vector3::z();
    let origin = orchard_from_tool.translation.vector;
    let arm = setting
        .reach
        .best(&[origin, origin - forward * tool.standoff_m], &forward);
    let speed_m_s = arm.map_or(config.unstated_speed_m_s, |(arm, _)| arm.speed_m_s);
    let pose = Pose::from_isometry(orchard_from_tool);
    Some(PlannedRemoval {
        clearance_m: clearance(closings, &closing, &orchard_from_tool),
        targets,
        enclosed,
        tool_idx: closing.tool_idx,
        arm_idx: arm.map(|(arm, _)| arm.arm_idx),
        orchard_from_tool: pose,
        orchard_from_tool_cut: pose,
        tilt_rad: closing.found.aim.tilt_rad(),
        unseen_share: seen.map(|seen| seen.unseen_share(&orchard_from_tool, &swept)),
        success_probability: closing.found.ln.exp(),
        success_probability_unlocated: unlocated,
        stops: arm.map(|(_, stops)| stops),
        duration_s: 2.0 * tool.standoff_m / speed_m_s.max(1e-6) + config.cut_s,
        reach_checked: arm.is_some(),
        not_checked: not_checked(closings, &closing, common, arm.is_some()),
    })
}

/// The tool's pose, its x axis level where it can be: turning it about its own axis changes nothing else.
fn pose_of(problem: &Problem<'_>, closing: &Closing) -> Isometry3<f64> {
    let aim = &closing.found.aim;
    let rotation = problem.rotation(&aim.tilt);
    let forward = rotation.column(2).into_owned();
    let level = Vector3::z()
        .cross(&forward)
        .try_normalize(1e-6)
        .unwrap_or_else(Vector3::x);
    let first = (level - forward * forward.dot(&level))
        .try_normalize(1e-9)
        .unwrap_or_else(Vector3::y);
    let turned = Matrix3::from_columns(&[first, forward.cross(&first), forward]);
    let turn = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(turned));
    Isometry3::from_parts(Translation3::from(problem.origin(&rotation, &aim.at)), turn)
}

/// Smallest predicted distance of the sweep from what stays: fruit, limbs and obstacles, as far as was looked.
fn clearance(
    closings: &Closings<'_>,
    closing: &Closing,
    orchard_from_tool: &Isometry3<f64>,
) -> f64 {
    let Some(tool) = closings.setup.tools.get(closing.tool_idx) else {
        return 0.0;
    };
    let swept = enclosure(tool).swept_from_behind(tool.standoff_m);
    let surroundings: &Surroundings = closings.setting.surroundings;
    let tool_from_orchard = orchard_from_tool.inverse();
    let place =
        |p: &Vector3<f64>| tool_from_orchard.rotation * p + tool_from_orchard.translation.vector;
    let enclosed = closings.removable.get(closing.enclosed).copied();
    let mut least = LOOKED_AROUND_M;
    for (local, body) in surroundings.bodies.iter().enumerate() {
        let stays = match closings.setting.slots.get(local).copied().flatten() {
            Some(slot) => closing.there.keep & (1 << slot) != 0,
            None => body.existence >= 0.5,
        };
        if stays && Some(local) != enclosed {
            least = least.min(swept.to_sphere(&place(&body.centre), body.radius));
        }
    }
    for solid in &surroundings.solids {
        least = least.min(match &solid.shape {
            SolidShape::Capsule(solid) => swept.to_capsule(&Tapered {
                a: place(&solid.a),
                b: place(&solid.b),
                ..*solid
            }),
            SolidShape::Box {
                orchard_from_box,
                half_m,
            } => swept.to_box(&(tool_from_orchard * orchard_from_box), half_m),
        });
    }
    least
}

fn not_checked(
    closings: &Closings<'_>,
    closing: &Closing,
    common: &Common,
    reached: bool,
) -> Vec<String> {
    let mut list = vec!["leaves and shoots".to_owned()];
    if !common.has_orchard {
        list.push("limbs and obstacles (no orchard file)".to_owned());
    }
    let has_body = closings
        .setup
        .tools
        .get(closing.tool_idx)
        .is_some_and(|tool| !tool.body.is_empty());
    if has_body {
        list.push("body of the tool behind the enclosure".to_owned());
    }
    if let (false, Some(what)) = (reached, closings.setting.reach.unchecked) {
        list.push(what.to_owned());
    }
    list
}
