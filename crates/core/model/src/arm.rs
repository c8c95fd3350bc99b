//! The tool, the arm and the platform.

use crate::frames::{Base, Direction, Orchard, Pose, Rig, Tool};
use nalgebra::Vector3;

/// An arm with its tools on a platform.
#[derive(Debug, Clone)]
pub struct ArmSetup {
    /// Name of the set-up.
    pub name: String,
    /// The tool, then further ones.
    pub tools: Vec<ToolSpec>,
    /// The arm, then further ones; empty = reach is not checked.
    pub arms: Vec<ArmSpec>,
    /// How the platform moves; `None` = no stops.
    pub platform: Option<Platform>,
}

/// What the tool does when it closes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToolAction {
    /// Isolate the one to remove and cut its stem.
    EncloseTarget,
    /// Isolate the one to keep and cut the others.
    EncloseKeeper,
}

impl ToolAction {
    /// The name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            ToolAction::EncloseTarget => "enclose_target",
            ToolAction::EncloseKeeper => "enclose_keeper",
        }
    }
}

/// A cylinder open in front, at z from `-length_m` to 0 of the tool frame.
#[derive(Debug, Clone, PartialEq)]
pub struct ToolSpec {
    /// Name; the first tool may have none.
    pub name: Option<String>,
    /// What it does.
    pub action: ToolAction,
    /// Inner radius.
    pub inner_radius_m: f64,
    /// Outer radius.
    pub outer_radius_m: f64,
    /// Length.
    pub length_m: f64,
    /// z of the cutting plane, 0 or less.
    pub cut_offset_m: f64,
    /// How far beyond the outer wall the blade sweeps (`EncloseKeeper`).
    pub cut_reach_m: f64,
    /// How far back along -z the approach begins.
    pub standoff_m: f64,
    /// Largest angle between the tool's -z and the fruit's axis.
    pub tilt_tolerance_rad: f64,
    /// Least predicted distance to whatever must not be touched.
    pub clearance_m: f64,
    /// The body behind the enclosure.
    pub body: Vec<ToolCapsule>,
}

/// A capsule in the tool frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ToolCapsule {
    /// One end of the axis, tool frame, metres.
    pub a: crate::frames::Point<Tool>,
    /// The other end.
    pub b: crate::frames::Point<Tool>,
    /// Radius.
    pub radius_m: f64,
}

/// An arm.
#[derive(Debug, Clone)]
pub struct ArmSpec {
    /// Its name: `main` for the first, `extra1` .. for further ones.
    pub id: String,
    /// How it reaches.
    pub reach: ArmReach,
    /// Where its foot stands.
    pub rig_from_base: Pose<Rig, Base>,
    /// Repeatability, where stated.
    pub repeatability_m: Option<f64>,
}

/// How an arm reaches.
#[derive(Debug, Clone)]
pub enum ArmReach {
    /// Three linear axes.
    Cartesian {
        /// Lower bounds of the tool origin, base frame, metres.
        low_m: Vector3<f64>,
        /// Upper bounds of the tool origin, base frame, metres.
        high_m: Vector3<f64>,
        /// Speed of the tool.
        speed_m_s: f64,
        /// The tool's +z stays near this direction; `None` = free.
        reach_direction: Option<Direction<Base>>,
        /// How near, radians.
        reach_within_rad: Option<f64>,
    },
    /// A chain of joints from a URDF file.
    Chain {
        /// Path as written in the arm file.
        urdf: String,
        /// First link.
        base_link: String,
        /// Last link.
        tool_link: String,
        /// Speed of every joint.
        joint_speed_rad_s: f64,
    },
}

/// How the platform stops along the row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Platform {
    /// Rig pose at stop 0.
    pub orchard_from_rig: Pose<Orchard, Rig>,
    /// Distance between stops along orchard x.
    pub step_m: f64,
    /// Time to settle at a stop.
    pub settle_s: f64,
}

impl Platform {
    /// The rig's pose at a stop; stop numbers may be negative.
    #[must_use]
    pub fn at_stop(&self, stop: i64) -> Pose<Orchard, Rig> {
        let mut iso = self.orchard_from_rig.iso;
        // stops are few
        let along = stop as f64 * self.step_m;
        iso.translation.vector.x += along;
        Pose::from_isometry(iso)
    }
}
