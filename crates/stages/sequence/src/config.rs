//! Settings of the sequence.

/// Settings. The amount of search is a number of moves, never a time, so that a plan can be repeated.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Up to this many orders at a stop the best order is found exactly (orders, 0 to 18; default 12: about half a million
    /// steps; the time and memory double with each further one).
    pub exact_up_to: usize,
    /// Beyond that, how often the search disturbs its best path and repairs it, for each order at the stop (a number, 0 or
    /// more; default 10: fifty made a list of 480 orders a thousandth quicker on the platform, and took five times as long to find).
    pub kicks_per_order: usize,
    /// How many nearest other orders the search tries to put next to an order (orders, 1 or more; default 10: a further
    /// neighbour next to it is hardly ever part of a good path).
    pub neighbours: usize,
    /// Where the disturbances begin (any number; default 1): the same number gives the same plan.
    pub seed: u64,
    /// Speed of the tool where the arm states none (metres a second, above 0; default 0.25, the limit for
    /// manually reduced speed in ISO 10218-1, which is slow for an arm at work, so durations are not promised too short).
    pub speed_without_arm_m_s: f64,
    /// How far from the middle of the directions it was seen from a second look may be taken (radians, 0 to 1; default 25
    /// degrees: enough to see past a leaf, and still from the same side).
    pub look_aside_rad: f64,
    /// Time for a second look without travel (seconds, 0 or more; default 2: settle and take a few images; no source).
    pub look_s: f64,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            exact_up_to: 12,
            kicks_per_order: 10,
            neighbours: 10,
            seed: 1,
            speed_without_arm_m_s: 0.25,
            look_aside_rad: 25f64.to_radians(),
            look_s: 2.0,
        }
    }
}
