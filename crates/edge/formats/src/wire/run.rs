//! `run.json`.

use crate::wire::num::Num;
use crate::wire::pose::PoseWire;
use corymb_model::run::Class;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Cameras, classes and noise of a run.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Run")]
pub(crate) struct RunFile {
    /// 1.
    #[schemars(extend("const" = 1))]
    pub(crate) version: u32,
    /// Name of the run.
    pub(crate) name: String,
    /// ISO 8601.
    pub(crate) date: String,
    /// BBCH code of pome fruit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) stage_bbch: Option<u8>,
    /// Cameras of the rig.
    pub(crate) cameras: Vec<CameraWire>,
    /// Detector label -> our class.
    pub(crate) classes: BTreeMap<String, ClassWire>,
    /// What is stated about the noise; it may be wrong.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) noise: Option<NoiseWire>,
}

/// A camera.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Camera")]
pub(crate) struct CameraWire {
    /// Unique id.
    pub(crate) id: String,
    /// Image width.
    pub(crate) width_px: u32,
    /// Image height.
    pub(crate) height_px: u32,
    /// fx, fy.
    pub(crate) focal_px: [Num; 2],
    /// cx, cy; the origin is the outer top-left corner of the top-left pixel.
    pub(crate) principal_px: [Num; 2],
    /// Lens distortion.
    pub(crate) distortion: DistortionWire,
    /// Mounting.
    pub(crate) rig_from_camera: PoseWire,
}

/// Lens distortion; coefficients in the order of the ROS CameraInfo message.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Distortion")]
pub(crate) struct DistortionWire {
    /// Which model.
    pub(crate) model: DistortionModel,
    /// 0, 5, 8 or 4 numbers.
    pub(crate) coefficients: Vec<Num>,
}

/// Models of a lens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum DistortionModel {
    None,
    PlumbBob,
    RationalPolynomial,
    Equidistant,
}

/// What a box shows.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "Class")]
pub(crate) enum ClassWire {
    Fruitlet,
    Stem,
    Calyx,
    Flower,
    KingFlower,
    FlowerCluster,
    Bud,
    Ignore,
}

/// Standard deviations and rates.
#[derive(Debug, Clone, Default, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Noise")]
#[serde(default)]
pub(crate) struct NoiseWire {
    /// Of one box edge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) box_edge_px: Option<Num>,
    /// Of the rig's position per axis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) pose_translation_m: Option<Num>,
    /// Of the rig's rotation per axis.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) pose_rotation_deg: Option<Num>,
    /// The slow part of the position error.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) pose_drift_m: Option<Num>,
    /// The slow part of the rotation error.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) pose_drift_deg: Option<Num>,
    /// Correlation time of the slow part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) pose_drift_s: Option<Num>,
    /// Of the limbs in orchard.json.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) limb_m: Option<Num>,
    /// Mean number of false boxes an image.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) false_positives_per_frame: Option<Num>,
    /// Chance that a visible object is detected, by our class.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) detection_probability: Option<ChancesWire>,
}

/// A chance for each of our classes.
#[derive(Debug, Clone, Default, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Chances")]
#[serde(default)]
pub(crate) struct ChancesWire {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) fruitlet: Option<Num>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) stem: Option<Num>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) calyx: Option<Num>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) flower: Option<Num>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) king_flower: Option<Num>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) flower_cluster: Option<Num>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) bud: Option<Num>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) ignore: Option<Num>,
}

impl ChancesWire {
    /// The chance of a class.
    pub(crate) fn of(&mut self, class: Class) -> &mut Option<Num> {
        match class {
            Class::Fruitlet => &mut self.fruitlet,
            Class::Stem => &mut self.stem,
            Class::Calyx => &mut self.calyx,
            Class::Flower => &mut self.flower,
            Class::KingFlower => &mut self.king_flower,
            Class::FlowerCluster => &mut self.flower_cluster,
            Class::Bud => &mut self.bud,
            Class::Ignore => &mut self.ignore,
        }
    }
}
