//! How the rig moves.

use serde::{Deserialize, Serialize};

/// One drive past the row; all cameras expose at the same instants.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PassSpec {
    /// Name written into the frames; absent = frames carry none.
    pub id: Option<String>,
    /// Time of the first exposure, seconds.
    pub start_s: f64,
    /// Exposures of each camera.
    pub exposures: u32,
    /// Exposures a second.
    pub rate_hz: f64,
    /// The path.
    pub motion: Motion,
}

/// Which way the rig's +y points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Facing {
    /// Along the orchard's +y: the rig stands at the -y side of the row.
    PlusY,
    /// Along the orchard's -y: the rig stands at the +y side of the row.
    MinusY,
}

/// A path.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Motion {
    /// A vehicle driving along the row.
    AlongRow(AlongRow),
    /// A hand-held camera that wanders about a place and keeps looking at another.
    Free(Free),
}

/// A vehicle driving along the row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct AlongRow {
    /// Rig position at the first exposure, metres.
    pub from_m: [f64; 3],
    /// Which way the cameras look.
    pub facing: Facing,
    /// Speed along the orchard's x, metres a second; may be negative.
    pub speed_m_s: f64,
    /// Amplitude of the slow change of speed, share of the speed.
    pub speed_wave: f64,
    /// Mean period of that change, seconds.
    pub speed_period_s: f64,
    /// Standard deviation of the rig's sway per axis, millimetres.
    pub sway_mm: f64,
    /// Standard deviation of the rig's rocking per axis, degrees.
    pub sway_deg: f64,
    /// Mean period of sway and rocking, seconds.
    pub sway_period_s: f64,
}

/// A hand-held camera.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Free {
    /// Middle of the wandering, metres.
    pub from_m: [f64; 3],
    /// Largest excursion from it along x, y, z, metres.
    pub reach_m: [f64; 3],
    /// Middle of what it looks at, metres.
    pub look_at_m: [f64; 3],
    /// Largest excursion of that along x, y, z, metres.
    pub look_reach_m: [f64; 3],
    /// Standard deviation of the roll about the line of sight, degrees.
    pub roll_deg: f64,
    /// Mean period of the wandering, seconds.
    pub period_s: f64,
}

impl Default for AlongRow {
    fn default() -> Self {
        Self {
            from_m: [-0.5, -0.85, 1.4],
            facing: Facing::PlusY,
            speed_m_s: 0.2,
            speed_wave: 0.15,
            speed_period_s: 5.0,
            sway_mm: 4.0,
            sway_deg: 0.3,
            sway_period_s: 2.0,
        }
    }
}

impl Default for Free {
    fn default() -> Self {
        Self {
            from_m: [0.0, -0.65, 1.3],
            reach_m: [0.25, 0.1, 0.25],
            look_at_m: [0.0, 0.0, 1.3],
            look_reach_m: [0.1, 0.05, 0.1],
            roll_deg: 5.0,
            period_s: 4.0,
        }
    }
}

impl Default for PassSpec {
    fn default() -> Self {
        Self {
            id: None,
            start_s: 0.0,
            exposures: 21,
            rate_hz: 4.0,
            motion: Motion::AlongRow(AlongRow::default()),
        }
    }
}
