//! Errors of the data about poses and trees, and what the run states about all noise.

use serde::{Deserialize, Serialize};

/// Where the poses stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PoseSource {
    /// Each image has its own.
    Images,
    /// In a trajectory, to be interpolated.
    Trajectory,
}

/// Errors between the truth and what is written. All standard deviations are per axis, in the rig frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ErrorSpec {
    /// Where the poses stand.
    pub poses: PoseSource,
    /// Poses a second of the trajectory.
    pub trajectory_hz: f64,
    /// New in each pose: translation, metres.
    pub pose_white_m: f64,
    /// New in each pose: rotation, degrees.
    pub pose_white_deg: f64,
    /// Slow drift (Ornstein-Uhlenbeck): translation, metres.
    pub pose_drift_m: f64,
    /// Slow drift: rotation, degrees.
    pub pose_drift_deg: f64,
    /// Correlation time of the drift, seconds.
    pub pose_drift_s: f64,
    /// Rigid offset of a whole pass after the first: translation, metres.
    pub pass_offset_m: f64,
    /// Rigid offset of a whole pass after the first: rotation about its middle, degrees.
    pub pass_offset_deg: f64,
    /// Mounting of each camera: translation, metres.
    pub mount_m: f64,
    /// Mounting of each camera: rotation, degrees.
    pub mount_deg: f64,
    /// What must be added to an image's time to get the pose's time, seconds.
    pub clock_offset_s: f64,
    /// Limbs of the orchard file, per point and axis, metres; half of the variance is common to a limb.
    pub limb_m: f64,
}

impl Default for ErrorSpec {
    fn default() -> Self {
        Self {
            poses: PoseSource::Images,
            trajectory_hz: 20.0,
            pose_white_m: 0.002,
            pose_white_deg: 0.08,
            pose_drift_m: 0.003,
            pose_drift_deg: 0.05,
            pose_drift_s: 5.0,
            pass_offset_m: 0.0,
            pass_offset_deg: 0.0,
            mount_m: 0.0005,
            mount_deg: 0.03,
            clock_offset_s: 0.0,
            limb_m: 0.004,
        }
    }
}

impl ErrorSpec {
    /// No error at all.
    #[must_use]
    pub fn none() -> Self {
        Self {
            pose_white_m: 0.0,
            pose_white_deg: 0.0,
            pose_drift_m: 0.0,
            pose_drift_deg: 0.0,
            mount_m: 0.0,
            mount_deg: 0.0,
            limb_m: 0.0,
            ..Self::default()
        }
    }
}

/// What the run states; each figure may be wrong or absent. Meanings are those of `run.json`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct StatedSpec {
    /// Standard deviation of a box edge, pixels.
    pub box_edge_px: Option<f64>,
    /// Standard deviation of a pose's translation per axis, metres.
    pub pose_translation_m: Option<f64>,
    /// Standard deviation of a pose's rotation per axis, degrees.
    pub pose_rotation_deg: Option<f64>,
    /// The slow part of the translation, metres.
    pub pose_drift_m: Option<f64>,
    /// The slow part of the rotation, degrees.
    pub pose_drift_deg: Option<f64>,
    /// Correlation time of the slow part, seconds.
    pub pose_drift_s: Option<f64>,
    /// Standard deviation of the orchard file's limbs, metres.
    pub limb_m: Option<f64>,
    /// Mean number of false boxes an image.
    pub false_positives_per_frame: Option<f64>,
    /// Chance that a visible body is boxed.
    pub body_probability: Option<f64>,
    /// Chance that a visible stem is boxed.
    pub stem_probability: Option<f64>,
    /// Chance that a visible calyx end is boxed.
    pub calyx_probability: Option<f64>,
}

impl StatedSpec {
    /// States rates only: false boxes an image, and the chances for bodies and for their parts.
    #[must_use]
    pub fn rates(false_positives: f64, body: f64, part: f64) -> Self {
        Self {
            false_positives_per_frame: Some(false_positives),
            body_probability: Some(body),
            stem_probability: Some(part),
            calyx_probability: Some(part),
            ..Self::default()
        }
    }
}
