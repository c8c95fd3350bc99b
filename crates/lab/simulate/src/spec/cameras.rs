//! Cameras on the rig.

use corymb_model::run::Distortion;
use serde::{Deserialize, Serialize};

/// A camera. With pan, tilt and roll 0 it looks along the rig's +y with the rig's +z up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CameraSpec {
    /// Unique name.
    pub id: String,
    /// Image width, pixels.
    pub width_px: u32,
    /// Image height, pixels.
    pub height_px: u32,
    /// Focal lengths along x and y, pixels.
    pub focal_px: [f64; 2],
    /// Principal point, pixels from the outer corner of the first pixel.
    pub principal_px: [f64; 2],
    /// Distortion.
    pub lens: LensSpec,
    /// Place in the rig frame, metres.
    pub position_m: [f64; 3],
    /// Turn about the rig's z axis, positive to the left, degrees.
    pub pan_deg: f64,
    /// Turn upwards, degrees.
    pub tilt_deg: f64,
    /// Turn about the line of sight, clockwise as seen by the camera, degrees.
    pub roll_deg: f64,
}

/// Distortion model with its coefficients in the order of the ROS `CameraInfo` message.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "model", content = "coefficients", rename_all = "snake_case")]
pub enum LensSpec {
    /// No distortion.
    None,
    /// k1, k2, p1, p2, k3.
    PlumbBob([f64; 5]),
    /// k1, k2, p1, p2, k3, k4, k5, k6.
    RationalPolynomial([f64; 8]),
    /// k1, k2, k3, k4.
    Equidistant([f64; 4]),
}

impl LensSpec {
    /// The coefficients, in order.
    #[must_use]
    pub fn coefficients(&self) -> &[f64] {
        match self {
            LensSpec::None => &[],
            LensSpec::PlumbBob(k) => k,
            LensSpec::RationalPolynomial(k) => k,
            LensSpec::Equidistant(k) => k,
        }
    }

    /// As the messages carry it.
    #[must_use]
    pub fn distortion(&self) -> Distortion {
        match *self {
            LensSpec::None => Distortion::None,
            LensSpec::PlumbBob(k) => Distortion::PlumbBob(k),
            LensSpec::RationalPolynomial(k) => Distortion::RationalPolynomial(k),
            LensSpec::Equidistant(k) => Distortion::Equidistant(k),
        }
    }
}

impl Default for CameraSpec {
    fn default() -> Self {
        Self {
            id: "cam".into(),
            width_px: 2048,
            height_px: 1536,
            focal_px: [1480.0, 1481.0],
            principal_px: [1018.0, 772.0],
            lens: LensSpec::PlumbBob([-0.09, 0.05, 0.0003, -0.0004, -0.008]),
            position_m: [0.0, 0.0, 0.0],
            pan_deg: 0.0,
            tilt_deg: 0.0,
            roll_deg: 0.0,
        }
    }
}
