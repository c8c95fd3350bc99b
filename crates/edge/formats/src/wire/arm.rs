//! `arm.toml`.

use crate::wire::num::Num;
use crate::wire::pose::PoseWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Tools, arms and the platform.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "ArmSetup")]
pub(crate) struct ArmFile {
    /// 1.
    #[schemars(extend("const" = 1))]
    pub(crate) version: u32,
    /// Name of the set-up.
    pub(crate) name: String,
    /// The tool.
    pub(crate) tool: ToolWire,
    /// Further tools of the same arm, each with a name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) extra_tool: Vec<ToolWire>,
    /// The arm; absent = reach is not checked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) arm: Option<ArmWire>,
    /// Further arms on the same platform.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) extra_arm: Vec<ArmWire>,
    /// How the platform moves; absent = no stops.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) platform: Option<PlatformWire>,
}

/// A cylinder open in front, at z from -length to 0.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Tool")]
pub(crate) struct ToolWire {
    /// Name; further tools need one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) name: Option<String>,
    /// What it does.
    pub(crate) action: ToolActionWire,
    /// Inner diameter.
    pub(crate) inner_diameter_mm: Num,
    /// Outer diameter.
    pub(crate) outer_diameter_mm: Num,
    /// Length.
    pub(crate) length_mm: Num,
    /// z of the cutting plane, 0 or less.
    pub(crate) cut_offset_mm: Num,
    /// How far beyond the outer wall the blade sweeps; needed with enclose_keeper, without meaning otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) cut_reach_mm: Option<Num>,
    /// How far back along -z the approach begins.
    pub(crate) standoff_mm: Num,
    /// Largest angle between the tool's -z and the fruit's axis.
    pub(crate) tilt_tolerance_deg: Num,
    /// Least predicted distance to whatever must not be touched.
    pub(crate) clearance_mm: Num,
    /// The body behind the enclosure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(crate) body: Vec<CapsuleWire>,
}

/// What the tool does when it closes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "ToolAction")]
pub(crate) enum ToolActionWire {
    EncloseTarget,
    EncloseKeeper,
}

/// A capsule in the tool frame.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Capsule")]
pub(crate) struct CapsuleWire {
    /// One end of the axis.
    pub(crate) a_m: [Num; 3],
    /// The other end.
    pub(crate) b_m: [Num; 3],
    /// Radius.
    pub(crate) radius_mm: Num,
}

/// How an arm reaches.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[schemars(rename = "Arm")]
pub(crate) enum ArmWire {
    /// Three linear axes.
    Cartesian {
        /// Where its foot stands.
        rig_from_base: PoseWire,
        /// Lower bounds of the tool origin, base frame.
        low_m: [Num; 3],
        /// Upper bounds of the tool origin, base frame.
        high_m: [Num; 3],
        /// Speed of the tool.
        speed_m_s: Num,
        /// The tool's +z stays near this unit vector of the base frame.
        #[serde(skip_serializing_if = "Option::is_none")]
        reach_direction: Option<[Num; 3]>,
        /// How near.
        #[serde(skip_serializing_if = "Option::is_none")]
        reach_within_deg: Option<Num>,
        /// Repeatability.
        #[serde(skip_serializing_if = "Option::is_none")]
        repeatability_mm: Option<Num>,
    },
    /// A chain of joints.
    Chain {
        /// Where its foot stands.
        rig_from_base: PoseWire,
        /// Path of the URDF file, beside the arm file.
        urdf: String,
        /// First link.
        base_link: String,
        /// Last link.
        tool_link: String,
        /// Speed of every joint.
        joint_speed_rad_s: Num,
        /// Repeatability.
        #[serde(skip_serializing_if = "Option::is_none")]
        repeatability_mm: Option<Num>,
    },
}

/// How the platform stops along the row.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Platform")]
pub(crate) struct PlatformWire {
    /// Rig pose of stop 0.
    pub(crate) orchard_from_rig: PoseWire,
    /// Distance between stops along orchard x.
    pub(crate) step_m: Num,
    /// Time to settle at a stop.
    pub(crate) settle_s: Num,
}
