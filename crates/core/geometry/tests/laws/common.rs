//! Cameras and helpers that the tests share.

use corymb_geometry::Lens;
use corymb_model::Pose;
use corymb_model::run::{Camera, Distortion};

/// A camera of 1280 x 960 at f = 1,000 px, principal point in the middle.
pub(crate) fn camera(distortion: Distortion) -> Camera {
    Camera {
        id: "c".into(),
        width_px: 1280,
        height_px: 960,
        focal_px: [1000.0, 1000.0],
        principal_px: [640.0, 480.0],
        distortion,
        rig_from_camera: Pose::identity(),
    }
}

pub(crate) fn ideal() -> Lens {
    Lens::new(&camera(Distortion::None))
}
