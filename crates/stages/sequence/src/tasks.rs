//! The removals of the chosen ways, one after the other.

use crate::Input;
use corymb_model::arm::ArmSetup;
use corymb_model::ways::PlannedRemoval;
use nalgebra::{Point3, Vector3};

/// One closing of the tool.
#[derive(Debug)]
pub(crate) struct Task<'a> {
    /// Position in the map.
    pub(crate) cluster_idx: usize,
    /// The plan.
    pub(crate) plan: &'a PlannedRemoval,
    /// Position among the tasks of the removal that must be done just before, of the same cluster.
    pub(crate) before: Option<usize>,
    /// Where the approach begins and the retreat ends, orchard frame, metres.
    pub(crate) standoff: Vector3<f64>,
    /// Where the tool closes, orchard frame, metres.
    pub(crate) enclose: Vector3<f64>,
}

/// Removals by the id of their cluster, within a cluster in the order of execution.
pub(crate) fn of_chosen_ways<'a>(input: &Input<'a>, setup: &ArmSetup) -> Vec<Task<'a>> {
    let known = input.decisions.chosen.iter();
    let mut ways: Vec<_> = known
        .filter_map(|(c, way)| Some((&input.map.clusters.get(*c)?.id, *c, way)))
        .collect();
    ways.sort_by_key(|(id, c, _)| (*id, *c));
    let mut tasks: Vec<Task<'a>> = Vec::new();
    for (_, cluster_idx, way) in ways {
        for (place, plan) in way.removals.iter().enumerate() {
            let before = (place > 0).then(|| tasks.len() - 1);
            let back_m = setup
                .tools
                .get(plan.tool_idx)
                .map_or(0.0, |tool| tool.standoff_m);
            let standoff = plan.orchard_from_tool.iso * Point3::new(0.0, 0.0, -back_m);
            let enclose = plan.orchard_from_tool.iso.translation.vector;
            tasks.push(Task {
                cluster_idx,
                plan,
                before,
                standoff: standoff.coords,
                enclose,
            });
        }
    }
    tasks
}
