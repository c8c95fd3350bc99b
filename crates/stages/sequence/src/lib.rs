//! In which order: stops of the platform and an ordered task list.
//!
//! Consumes the map, the decisions with their chosen ways, the arm and platform, and where the cameras stood. Produces
//! orders, each with what must be done before it, and the refusals of the chosen ways. It never knows why a fruitlet goes.
//!
//! # Method
//! 1. The removals of a cluster keep the order of their way, because each may open the path of the next.
//! 2. The fewest stops from which everything is reached: stabbing of intervals, exact (`stops.rs`).
//! 3. At each stop the order with the shortest travel time of the tool, as an open path under those precedences: exact up
//!    to [`Config::exact_up_to`] orders, beyond that a local search of fixed work ([`route`]). Travel is counted between
//!    the standoff positions, straight, since each removal begins and ends at its own.
//! 4. Fruit in doubt gets an order to look again, with a camera pose (`look.rs`).

mod config;
mod look;
mod record;
pub mod route;
mod stops;
mod tasks;
mod travel;

pub use config::Config;

use corymb_model::arm::ArmSetup;
use corymb_model::decisions::Decisions;
use corymb_model::frames::{CameraFrame, Orchard, Pose};
use corymb_model::map::CropMap;
use corymb_model::orders::TaskList;
use corymb_model::run::Camera;

/// What the task list is made from.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// The map.
    pub map: &'a CropMap,
    /// What goes, and by which ways.
    pub decisions: &'a Decisions,
    /// Tools, arms and platform; `None` = there are no orders.
    pub setup: Option<&'a ArmSetup>,
    /// The cameras of the run.
    pub cameras: &'a [Camera],
    /// Where they stood: position in `cameras` and `orchard_from_camera`, one an image, in the order of time.
    pub views: &'a [(usize, Pose<Orchard, CameraFrame>)],
    /// Put before every order's name, with a hyphen, where it is not empty.
    pub run_token: &'a str,
}

/// Puts the chosen removals and the second looks into an order of execution.
///
/// The result does not depend on the order of fruitlets, clusters or ways (positions apart).
#[must_use]
pub fn sequence(input: &Input<'_>, config: &Config) -> TaskList {
    let refusals = record::refusals(input);
    let Some(setup) = input.setup else {
        return TaskList {
            refusals,
            ..TaskList::default()
        };
    };
    let tasks = tasks::of_chosen_ways(input, setup);
    let visits = stops::plan(&tasks);
    let visits: Vec<stops::Visit> = visits
        .iter()
        .map(|visit| travel::in_order(visit, &tasks, setup, config))
        .collect();
    let looks = look::proposals(input, config);
    record::task_list(
        &record::Parts {
            input,
            setup,
            tasks: &tasks,
            visits: &visits,
            looks,
            refusals,
        },
        config,
    )
}
