//! Parts of a scene as files of their own: a rig, a detector, errors. Each replaces what it holds, whole.

use super::{CameraSpec, DetectorSpec, ErrorSpec, PassSpec, SceneSpec};
use serde::{Deserialize, Serialize};

/// A rig: `[[cameras]]` and, where the rig needs a drive of its own, `[[passes]]`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RigFile {
    /// Version of this format; 1.
    pub version: u32,
    /// Cameras, at least one.
    pub cameras: Vec<CameraSpec>,
    /// Drives; absent = those of the scene.
    #[serde(default)]
    pub passes: Option<Vec<PassSpec>>,
}

/// A detector, and what the run states about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DetectorFile {
    /// Version of this format; 1.
    pub version: u32,
    /// The detector.
    pub detector: DetectorSpec,
    /// What the run states about it.
    #[serde(default)]
    pub stated: DetectorStated,
}

/// What a run states about its detector; absent = not stated. Fields as in `StatedSpec`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DetectorStated {
    /// Standard deviation of a box edge, pixels.
    pub box_edge_px: Option<f64>,
    /// Mean number of false boxes an image.
    pub false_positives_per_frame: Option<f64>,
    /// Chance that a visible body is boxed.
    pub body_probability: Option<f64>,
    /// Chance that a visible stem is boxed.
    pub stem_probability: Option<f64>,
    /// Chance that a visible calyx end is boxed.
    pub calyx_probability: Option<f64>,
}

/// Errors of poses, mounting, clock and orchard file, and what the run states about them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ErrorsFile {
    /// Version of this format; 1.
    pub version: u32,
    /// The errors.
    pub errors: ErrorSpec,
    /// What the run states about them.
    #[serde(default)]
    pub stated: ErrorsStated,
}

/// What a run states about poses and limbs; absent = not stated. Fields as in `StatedSpec`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ErrorsStated {
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
}

impl RigFile {
    /// Puts the rig into a scene.
    pub fn put_into(&self, scene: &mut SceneSpec) {
        scene.cameras.clone_from(&self.cameras);
        if let Some(passes) = &self.passes {
            scene.passes.clone_from(passes);
        }
    }
}

impl DetectorFile {
    /// Puts the detector into a scene; what the scene stated about its own detector goes.
    pub fn put_into(&self, scene: &mut SceneSpec) {
        scene.detector = self.detector.clone();
        let (stated, own) = (&mut scene.stated, &self.stated);
        stated.box_edge_px = own.box_edge_px;
        stated.false_positives_per_frame = own.false_positives_per_frame;
        stated.body_probability = own.body_probability;
        stated.stem_probability = own.stem_probability;
        stated.calyx_probability = own.calyx_probability;
    }
}

impl ErrorsFile {
    /// Puts the errors into a scene; what the scene stated about its own errors goes.
    pub fn put_into(&self, scene: &mut SceneSpec) {
        scene.errors = self.errors.clone();
        let (stated, own) = (&mut scene.stated, &self.stated);
        stated.pose_translation_m = own.pose_translation_m;
        stated.pose_rotation_deg = own.pose_rotation_deg;
        stated.pose_drift_m = own.pose_drift_m;
        stated.pose_drift_deg = own.pose_drift_deg;
        stated.pose_drift_s = own.pose_drift_s;
        stated.limb_m = own.limb_m;
    }
}
