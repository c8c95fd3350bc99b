//! The order at a stop.

use crate::Config;
use crate::route::{self, Costs};
use crate::stops::Visit;
use crate::tasks::Task;
use corymb_model::arm::{ArmReach, ArmSetup};
use corymb_model::ways::PlannedRemoval;
use nalgebra::Vector3;

/// Time is counted in whole nanoseconds, so that sums are exact and ties are ties.
const PER_SECOND: f64 = 1e9;

/// The visit with its tasks in the order of execution.
pub(crate) fn in_order(
    visit: &Visit,
    tasks: &[Task<'_>],
    setup: &ArmSetup,
    config: &Config,
) -> Visit {
    let here = &visit.tasks;
    let costs = Costs::of(here.len(), |a, b| {
        let (Some(a), Some(b)) = (tasks.get(here[a]), tasks.get(here[b])) else {
            return 0;
        };
        // a float cast saturates
        (travel_s(a.standoff, b, setup, config) * PER_SECOND).round() as i64
    });
    let place = |task: usize| here.iter().position(|&t| t == task);
    let before: Vec<Option<usize>> = here
        .iter()
        .map(|&t| tasks.get(t).and_then(|t| t.before).and_then(place))
        .collect();
    let order = route::shortest(&costs, &before, config).order;
    Visit {
        stop: visit.stop,
        tasks: order.into_iter().map(|k| here[k]).collect(),
    }
}

/// Time for the tool to come to the standoff position of `to`.
pub(crate) fn travel_s(
    from: Vector3<f64>,
    to: &Task<'_>,
    setup: &ArmSetup,
    config: &Config,
) -> f64 {
    (to.standoff - from).norm() / speed_m_s(to.plan, setup, config)
}

/// Speed of the arm that does a removal; a chain of joints states no speed of the tool.
fn speed_m_s(plan: &PlannedRemoval, setup: &ArmSetup, config: &Config) -> f64 {
    match plan
        .arm_idx
        .and_then(|arm| setup.arms.get(arm))
        .map(|arm| &arm.reach)
    {
        Some(ArmReach::Cartesian { speed_m_s, .. }) if *speed_m_s > 0.0 => *speed_m_s,
        _ => config.speed_without_arm_m_s,
    }
}
