//! Every way to thin a cluster: who stays, who goes in which order, by which poses of the tool, how likely that
//! succeeds; or why not.
//!
//! In tool coordinates the enclosure is a cylinder about z that moves along z, so what it passes over is a cylinder
//! too, and its distance from a fruit has a closed form ([`sweep`]). Each condition of a good closing is a margin, and
//! under the errors of position, size, axis and arm a probability; the pose with the largest product is searched
//! over the cone of directions and the position of the fruit inside the cup (`search`). What is removed is gone for
//! the next, so the order of removal is searched over subsets (`order`).

mod chance;
mod closings;
mod config;
mod facing;
mod field;
mod finder;
mod judge;
mod order;
mod pattern;
mod plan;
mod problem;
mod reach;
mod refuse;
mod search;
mod sight;
mod solids;
mod stems;
mod surroundings;
pub mod sweep;
mod ways;

#[cfg(test)]
#[path = "../tests/approach/fixture.rs"]
mod fixture;

pub use chance::{ln_in_disc, ln_normal};
pub use config::{Config, ConfigError};
pub use sight::Sight;
pub use ways::MEMBERS_AT_MOST;

use corymb_model::arm::ArmSetup;
use corymb_model::map::CropMap;
use corymb_model::orchard::OrchardModel;
use corymb_model::policy::Policy;
use corymb_model::ways::ClusterWays;
use rayon::prelude::*;

/// What the stage works from.
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// The crop map.
    pub map: &'a CropMap,
    /// Limbs and obstacles, where known.
    pub orchard: Option<&'a OrchardModel>,
    /// Tools, arms and platform; `None` = ways without orders.
    pub setup: Option<&'a ArmSetup>,
    /// How many fruit stay, and how sure a fruit must be to be acted on.
    pub policy: &'a Policy,
    /// What the cameras looked at; empty = nothing is said of unseen space.
    pub sight: Sight<'a>,
}

/// The ways of each cluster that holds a fruit with a decision, in the order of the map's clusters.
///
/// For every choice of up to `keep_at_most` of the sure fruit: the best order of removal of the other sure ones. Cost
/// a cluster: a first pass over some thousand poses a fruit and tool, then up to 2^n local searches a fruit for n
/// sure fruit. Clusters are worked on in parallel; the result does not depend on the number of threads.
#[must_use]
pub fn find_ways(input: &Input<'_>, config: &Config) -> Vec<ClusterWays> {
    let shared = ways::Shared::new(input, config);
    (0..input.map.clusters.len())
        .into_par_iter()
        .filter_map(|cluster_idx| ways::of_cluster(&shared, cluster_idx))
        .collect()
}
