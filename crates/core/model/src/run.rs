//! A field run: cameras, images with their detections, poses, and what is stated about the noise.

use crate::frames::{CameraFrame, Orchard, Pose, Rig};
use crate::orchard::OrchardModel;
use std::collections::BTreeMap;

/// A run as read and checked: every number finite, every reference resolved, quaternions normalised.
#[derive(Debug, Clone)]
pub struct Run {
    /// Name of the run.
    pub name: String,
    /// ISO 8601 date as written.
    pub date: String,
    /// BBCH code of the growth stage of pome fruit.
    pub stage_bbch: Option<u8>,
    /// Cameras, in the order of the file.
    pub cameras: Vec<Camera>,
    /// What the run states about its noise; it may be wrong.
    pub noise: StatedNoise,
    /// Images ordered by time, then camera (position in `cameras`), then id.
    pub frames: Vec<Frame>,
    /// The trajectory, strictly increasing in time; empty where every image has its own pose.
    pub poses: Vec<TimedPose>,
    /// Rows, trees and obstacles, where known.
    pub orchard: Option<OrchardModel>,
}

/// A camera of the rig.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Unique name.
    pub id: String,
    /// Image width.
    pub width_px: u32,
    /// Image height.
    pub height_px: u32,
    /// Focal lengths along x and y.
    pub focal_px: [f64; 2],
    /// Principal point, in coordinates with the origin at the outer corner of the first pixel.
    pub principal_px: [f64; 2],
    /// Lens distortion.
    pub distortion: Distortion,
    /// Mounting.
    pub rig_from_camera: Pose<Rig, CameraFrame>,
}

/// Lens distortion; coefficient orders follow the ROS `CameraInfo` message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distortion {
    /// An ideal lens.
    None,
    /// k1, k2, p1, p2, k3.
    PlumbBob([f64; 5]),
    /// k1, k2, p1, p2, k3, k4, k5, k6.
    RationalPolynomial([f64; 8]),
    /// k1, k2, k3, k4 of the Kannala-Brandt fisheye model.
    Equidistant([f64; 4]),
}

/// What a detector's box shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Class {
    /// A green fruit.
    Fruitlet,
    /// A pedicel.
    Stem,
    /// The calyx end of a fruitlet.
    Calyx,
    /// An open or closing flower.
    Flower,
    /// The central flower of a cluster.
    KingFlower,
    /// A whole flower cluster.
    FlowerCluster,
    /// A bud.
    Bud,
    /// To be left out.
    Ignore,
}

impl Class {
    /// Every class, in order.
    pub const ALL: [Class; 8] = [
        Class::Fruitlet,
        Class::Stem,
        Class::Calyx,
        Class::Flower,
        Class::KingFlower,
        Class::FlowerCluster,
        Class::Bud,
        Class::Ignore,
    ];

    /// Whether the box shows a body that the map lists (not a part of one).
    #[must_use]
    pub fn is_body(self) -> bool {
        !matches!(self, Class::Stem | Class::Calyx | Class::Ignore)
    }

    /// The name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Class::Fruitlet => "fruitlet",
            Class::Stem => "stem",
            Class::Calyx => "calyx",
            Class::Flower => "flower",
            Class::KingFlower => "king_flower",
            Class::FlowerCluster => "flower_cluster",
            Class::Bud => "bud",
            Class::Ignore => "ignore",
        }
    }
}

/// Standard deviations and rates that the run states; `None` where it is silent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StatedNoise {
    /// Of one box edge.
    pub box_edge_px: Option<f64>,
    /// Of the rig's position per axis, rig frame.
    pub pose_translation_m: Option<f64>,
    /// Of the rig's rotation per axis, rig frame.
    pub pose_rotation_rad: Option<f64>,
    /// The slow part of the position error.
    pub pose_drift_m: Option<f64>,
    /// The slow part of the rotation error.
    pub pose_drift_rad: Option<f64>,
    /// Correlation time of the slow part.
    pub pose_drift_s: Option<f64>,
    /// Of the limbs in the orchard file.
    pub limb_m: Option<f64>,
    /// Mean number of false boxes an image.
    pub false_positives_per_frame: Option<f64>,
    /// Chance that a visible object is detected.
    pub detection_probability: BTreeMap<Class, f64>,
}

/// An image.
#[derive(Debug, Clone)]
pub struct Frame {
    /// Unique name.
    pub id: String,
    /// Position in [`Run::cameras`].
    pub camera_idx: usize,
    /// When the image was taken.
    pub time_s: f64,
    /// The pose of the rig, where the image has one of its own; else the trajectory holds.
    pub orchard_from_rig: Option<Pose<Orchard, Rig>>,
    /// Which pass over the row.
    pub pass: Option<String>,
    /// Boxes, in the order of the file: a detection's name is its frame and its index here.
    pub detections: Vec<Detection>,
}

/// A box.
#[derive(Debug, Clone, PartialEq)]
pub struct Detection {
    /// What the box shows.
    pub class: Class,
    /// The detector's score, 0 to 1.
    pub score: f64,
    /// x0, y0, x1, y1.
    pub box_px: [f64; 4],
    /// Distance along the camera's z axis to the near surface of the object; outliers happen.
    pub depth_m: Option<f64>,
    /// Unit image direction from the stem end to the calyx end (fruit only).
    pub axis_px: Option<[f64; 2]>,
    /// 0 to 1.
    pub damaged: Option<f64>,
    /// The detector's own track, unique within its camera: a hint only.
    pub track: Option<String>,
}

/// The rig's pose at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimedPose {
    /// When.
    pub time_s: f64,
    /// Where.
    pub orchard_from_rig: Pose<Orchard, Rig>,
}

/// A detection by position: `run.frames[frame_idx].detections[detection_idx]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BoxRef {
    /// Position in [`Run::frames`].
    pub frame_idx: u32,
    /// Position in [`Frame::detections`].
    pub detection_idx: u32,
}

impl Run {
    /// The detection that `at` names, if there is one.
    #[must_use]
    pub fn detection(&self, at: BoxRef) -> Option<&Detection> {
        self.frames
            .get(at.frame_idx as usize)?
            .detections
            .get(at.detection_idx as usize)
    }
}
