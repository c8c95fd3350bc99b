//! What fusion makes of a run: bodies in space with their parts, and the poses that fit them.

use crate::diagnostics::Diagnostics;
use crate::frames::{CameraFrame, Direction, Orchard, Point, Pose};
use crate::run::{BoxRef, Class};
use nalgebra::{Matrix3, Matrix4};

/// The output of fusion.
#[derive(Debug, Clone, Default)]
pub struct Scene {
    /// One entry an image, in the order of `Run::frames`.
    pub views: Vec<View>,
    /// Bodies in an order that depends on the input only (along x, then z, then y).
    pub bodies: Vec<Body>,
    /// What was corrected and estimated on the way.
    pub calibration: Calibration,
    /// What tells whether to trust it.
    pub diagnostics: Diagnostics,
    /// Images without a usable pose.
    pub frames_left_out: usize,
    /// Standard deviation of a box edge that the estimate used, pixels.
    pub box_edge_px: f64,
}

/// An image as the estimate sees it.
#[derive(Debug, Clone, Copy)]
pub struct View {
    /// Corrected pose of the camera; `None` where the image was left out.
    pub orchard_from_camera: Option<Pose<Orchard, CameraFrame>>,
}

/// A body (fruitlet, flower, bud ..) modelled as a sphere.
#[derive(Debug, Clone)]
pub struct Body {
    /// What it is.
    pub class: Class,
    /// Centre.
    pub centre: Point<Orchard>,
    /// Radius.
    pub radius_m: f64,
    /// Covariance of centre (x, y, z) and radius, metres squared, without the error that all neighbours share.
    pub covariance_m2: Matrix4<f64>,
    /// Standard deviation per axis of the error that all neighbours share.
    pub shared_deviation_m: f64,
    /// Probability that there is such a body.
    pub existence: f64,
    /// Body boxes explained by it, at most one an image, ascending.
    pub boxes: Vec<BoxRef>,
    /// Boxes that show the same body a second time in an image (duplicates of a detector), ascending.
    pub duplicate_boxes: Vec<BoxRef>,
    /// Calyx boxes given to it, ascending.
    pub calyx_boxes: Vec<BoxRef>,
    /// Stem boxes given to it, ascending.
    pub stem_boxes: Vec<BoxRef>,
    /// Which way it hangs, where anything tells.
    pub axis: Option<Axis>,
    /// Its stem in space, where seen.
    pub stem: Option<Stem>,
}

/// Which way a body hangs.
#[derive(Debug, Clone, Copy)]
pub struct Axis {
    /// From the stem end to the calyx end.
    pub direction: Direction<Orchard>,
    /// Angular standard deviation (root mean square angle per axis), radians.
    pub deviation_rad: f64,
}

/// A stem as a straight piece.
#[derive(Debug, Clone, Copy)]
pub struct Stem {
    /// Where it meets the fruit.
    pub top: Point<Orchard>,
    /// Its far end, as far as it was seen: at or on the way to the spur.
    pub far: Point<Orchard>,
    /// Standard deviation per axis of `far`, metres: the root of a third of the trace of `far_covariance_m2`.
    pub far_deviation_m: f64,
    /// Covariance of `far`, metres squared: long towards the camera where one image alone shows the stem.
    pub far_covariance_m2: Matrix3<f64>,
    /// Images that support it.
    pub views: usize,
}

/// What was corrected or estimated, with its deviation or the reason why not.
#[derive(Debug, Clone, Default)]
pub struct Calibration {
    /// Corrected rig poses, one a distinct image time (and pass), ascending in time.
    pub rig_poses: Vec<CorrectedPose>,
    /// Camera mounting, one a camera.
    pub mounts: Vec<MountEstimate>,
    /// What must be added to an image's time to get the pose's time, seconds.
    pub clock_offset_s: Estimate,
    /// Box edge noise, pixels.
    pub box_edge_px: Estimate,
    /// Rig translation noise per axis, metres.
    pub pose_translation_m: Estimate,
    /// Rig rotation noise per axis, radians.
    pub pose_rotation_rad: Estimate,
    /// Chance that a visible body is detected.
    pub detection_probability: Estimate,
    /// Mean number of false body boxes an image.
    pub false_positives_per_frame: Estimate,
}

/// A value with its deviation, or why it was not estimated.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Estimate {
    /// The value, or the one assumed.
    pub value: Option<f64>,
    /// Standard deviation; `None` where it was assumed.
    pub deviation: Option<f64>,
    /// Why it was not estimated.
    pub reason: Option<String>,
}

/// A rig pose after correction.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrectedPose {
    /// Image time.
    pub time_s: f64,
    /// Pass, where stated.
    pub pass: Option<String>,
    /// As corrected.
    pub orchard_from_rig: Pose<Orchard, crate::frames::Rig>,
    /// Standard deviation per axis of the translation, metres.
    pub translation_deviation_m: Option<f64>,
    /// Standard deviation per axis of the rotation, radians.
    pub rotation_deviation_rad: Option<f64>,
}

/// The mounting of a camera after correction.
#[derive(Debug, Clone, PartialEq)]
pub struct MountEstimate {
    /// Position in `Run::cameras`.
    pub camera_idx: usize,
    /// As used.
    pub rig_from_camera: Pose<crate::frames::Rig, CameraFrame>,
    /// Standard deviation per axis of the translation, metres.
    pub translation_deviation_m: Option<f64>,
    /// Standard deviation per axis of the rotation, radians.
    pub rotation_deviation_rad: Option<f64>,
    /// Why it was not estimated.
    pub reason: Option<String>,
}
