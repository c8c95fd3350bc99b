//! `calibration.json`.

use crate::wire::header::output_file;
use crate::wire::num::Num;
use crate::wire::pose::PoseWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

output_file! {
    /// What was corrected and estimated, each with its deviation or why it was not estimated.
    #[schemars(rename = "Calibration")]
    CalibrationFile {
        /// Corrected poses of the rig, one a distinct time and pass.
        rig_poses: Vec<RigPoseWire>,
        /// Mounting of each camera.
        cameras: Vec<MountWire>,
        /// What must be added to an image's time to get the pose's time.
        clock_offset_s: EstimateWire,
        /// Noise as estimated.
        noise: NoiseEstimates,
    }
}

/// A corrected pose of the rig.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "RigPose")]
pub(crate) struct RigPoseWire {
    /// Image time.
    pub(crate) time_s: Num,
    /// Pass over the row.
    pub(crate) pass: Option<String>,
    /// The pose.
    pub(crate) orchard_from_rig: PoseWire,
    /// Standard deviation of the translation per axis; null = not estimated.
    pub(crate) translation_deviation_m: Option<Num>,
    /// Standard deviation of the rotation per axis; null = not estimated.
    pub(crate) rotation_deviation_deg: Option<Num>,
}

/// The mounting of a camera.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Mount")]
pub(crate) struct MountWire {
    /// Id of the camera.
    pub(crate) camera: String,
    /// As used.
    pub(crate) rig_from_camera: PoseWire,
    /// Standard deviation of the translation per axis.
    pub(crate) translation_deviation_m: Option<Num>,
    /// Standard deviation of the rotation per axis.
    pub(crate) rotation_deviation_deg: Option<Num>,
    /// Why it was not estimated.
    pub(crate) not_estimated_because: Option<String>,
}

/// A value with its deviation, or why it was not estimated.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Estimate")]
pub(crate) struct EstimateWire {
    /// The value, estimated or assumed.
    pub(crate) value: Option<Num>,
    /// Its standard deviation.
    pub(crate) deviation: Option<Num>,
    /// Why it was not estimated.
    pub(crate) not_estimated_because: Option<String>,
}

/// Noise as estimated.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub(crate) struct NoiseEstimates {
    /// Standard deviation of a box edge.
    pub(crate) box_edge_px: EstimateWire,
    /// Standard deviation of the rig's position per axis.
    pub(crate) pose_translation_m: EstimateWire,
    /// Standard deviation of the rig's rotation per axis.
    pub(crate) pose_rotation_deg: EstimateWire,
    /// Chance that a visible body is detected.
    pub(crate) detection_probability: EstimateWire,
    /// Mean number of false body boxes an image.
    pub(crate) false_positives_per_frame: EstimateWire,
}
