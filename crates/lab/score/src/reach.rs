//! Whether an arm with linear axes reaches the poses of an order at its stop.

use corymb_model::arm::{ArmReach, ArmSetup};
use corymb_model::orders::Order;
use corymb_model::ways::PlannedRemoval;
use nalgebra::{Isometry3, Vector3};

/// Overstepping that is rounding, metres.
const TINY_M: f64 = 1e-6;
/// Overstepping that is rounding, radians.
const TINY_RAD: f64 = 1e-6;

/// Whether the tool's origin stays within the arm's bounds, and its direction within the arm's, at standoff, enclose and
/// cut, all moved by `by` (metres, orchard frame); `None` where stop, tool or arm is unknown or the arm is a chain of joints.
pub(crate) fn in_reach(
    order: &Order,
    plan: &PlannedRemoval,
    by: &Vector3<f64>,
    setup: &ArmSetup,
) -> Option<bool> {
    let arm = setup.arms.get(plan.arm_idx?)?;
    let tool = setup.tools.get(plan.tool_idx)?;
    let ArmReach::Cartesian {
        low_m,
        high_m,
        reach_direction,
        reach_within_rad,
        ..
    } = &arm.reach
    else {
        return None;
    };
    let base_from_orchard = (order.orchard_from_rig?.iso * arm.rig_from_base.iso).inverse();
    let moved = |mut orchard_from_tool: Isometry3<f64>| {
        orchard_from_tool.translation.vector += by;
        base_from_orchard * orchard_from_tool
    };
    let enclose = moved(plan.orchard_from_tool.iso);
    let cut = moved(plan.orchard_from_tool_cut.iso);
    let forward = enclose.rotation * Vector3::z();
    let standoff = enclose.translation.vector - forward * tool.standoff_m;
    let bounded =
        |p: &Vector3<f64>| (0..3).all(|i| p[i] >= low_m[i] - TINY_M && p[i] <= high_m[i] + TINY_M);
    let points_well = match (reach_direction, reach_within_rad) {
        (Some(direction), Some(within_rad)) => {
            forward.angle(&direction.xyz) <= within_rad + TINY_RAD
        }
        _ => true,
    };
    Some(
        points_well
            && [standoff, enclose.translation.vector, cut.translation.vector]
                .iter()
                .all(bounded),
    )
}
