//! Where cameras truly sit, and where the run says they do.

use super::errors::small;
use crate::spec::{CameraSpec, ErrorSpec};
use crate::streams::{Draw, Purpose, Streams};
use corymb_model::Pose;
use corymb_model::frames::{CameraFrame, Rig};
use corymb_model::run::Camera;
use nalgebra::{Isometry3, Translation3, UnitQuaternion, Vector3};

/// The mounting as the scene has it.
pub(super) fn true_mount(spec: &CameraSpec) -> Pose<Rig, CameraFrame> {
    // camera z (forward) lies along rig y, camera y (down) along rig -z
    let upright = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), -std::f64::consts::FRAC_PI_2);
    let pan = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), spec.pan_deg.to_radians());
    let tilt = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), spec.tilt_deg.to_radians());
    let roll = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), spec.roll_deg.to_radians());
    let place = Translation3::from(Vector3::from(spec.position_m));
    Pose::from_isometry(Isometry3::from_parts(place, pan * tilt * upright * roll))
}

/// The camera as the run states it: the mounting is off by its error.
pub(super) fn stated_camera(
    spec: &CameraSpec,
    errors: &ErrorSpec,
    streams: &Streams,
    idx: usize,
) -> Camera {
    let mut rng = streams.rng(Purpose::Mount, idx as u64, 0);
    let shift = rng.normal3(errors.mount_m);
    let error = small(shift, rng.normal3(errors.mount_deg));
    let mount = true_mount(spec);
    let rig_from_camera = Isometry3::from_parts(
        Translation3::from(mount.iso.translation.vector + error.translation.vector),
        error.rotation * mount.iso.rotation,
    );
    Camera {
        id: spec.id.clone(),
        width_px: spec.width_px,
        height_px: spec.height_px,
        focal_px: spec.focal_px,
        principal_px: spec.principal_px,
        distortion: spec.lens.distortion(),
        rig_from_camera: Pose::from_isometry(rig_from_camera),
    }
}
