//! Pieces that named scenes share: rigs, drives, a typical detector and its errors.

use super::{
    AlongRow, CameraSpec, DetectorSpec, ErrorSpec, LensSpec, Motion, OrchardSpec, PassSpec,
    SceneSpec, StatedSpec,
};

/// `trees` seen by three cameras on a mast.
pub(super) fn on_mast(name: &str, trees: u32, pass: PassSpec) -> SceneSpec {
    let orchard = OrchardSpec {
        trees_per_row: trees,
        ..OrchardSpec::default()
    };
    SceneSpec {
        name: name.into(),
        stage_bbch: Some(72),
        orchard,
        cameras: mast(),
        passes: vec![pass],
        ..SceneSpec::default()
    }
}

/// A drive along the row from half a metre before the first tree.
pub(super) fn drive(speed_m_s: f64, exposures: u32) -> PassSpec {
    let motion = Motion::AlongRow(AlongRow {
        speed_m_s,
        ..AlongRow::default()
    });
    PassSpec {
        exposures,
        motion,
        ..PassSpec::default()
    }
}

/// Three cameras on a mast, all looking across the row, the middle one upside down, with two sorts of lens.
pub(super) fn mast() -> Vec<CameraSpec> {
    let camera = |id: &str, focal_px: f64, lens, position_m, tilt_deg, roll_deg| CameraSpec {
        id: id.into(),
        focal_px: [focal_px, focal_px + 1.0],
        lens,
        position_m,
        tilt_deg,
        roll_deg,
        ..CameraSpec::default()
    };
    let plumb = LensSpec::PlumbBob([-0.09, 0.05, 0.0003, -0.0004, -0.008]);
    let rational =
        LensSpec::RationalPolynomial([0.32, 0.11, -0.0002, 0.0003, 0.008, 0.41, 0.09, 0.015]);
    let plumb_2 = LensSpec::PlumbBob([-0.11, 0.07, -0.0003, 0.0002, -0.015]);
    vec![
        camera("bottom", 1485.0, plumb, [0.0, 0.0, -0.75], 4.0, 0.0),
        camera("centre", 1478.0, rational, [-0.015, 0.005, 0.0], 0.0, 180.0),
        camera("top", 1491.0, plumb_2, [0.01, 0.0, 0.75], -5.0, 1.0),
    ]
}

/// Two cameras side by side.
pub(super) fn stereo_pair() -> Vec<CameraSpec> {
    let camera = |id: &str, x_m: f64, focal_px: f64| CameraSpec {
        id: id.into(),
        width_px: 1920,
        height_px: 1440,
        focal_px: [focal_px, focal_px],
        principal_px: [954.0, 727.0],
        lens: LensSpec::PlumbBob([-0.045, 0.018, 0.0001, 0.0, 0.0]),
        position_m: [x_m, 0.0, 0.0],
        ..CameraSpec::default()
    };
    vec![camera("left", -0.05, 1210.0), camera("right", 0.05, 1208.0)]
}

pub(super) fn half_of_axes() -> super::AxisSpec {
    super::AxisSpec {
        probability: 0.5,
        ..super::AxisSpec::default()
    }
}

pub(super) fn typical_detector() -> DetectorSpec {
    DetectorSpec {
        edge_white_px: 1.2,
        edge_constant_px: 0.8,
        false_per_image: 0.7,
        false_objects_per_tree: 1.0,
        axis: half_of_axes(),
        ..DetectorSpec::default()
    }
}

pub(super) fn typical_errors() -> ErrorSpec {
    ErrorSpec {
        pose_white_m: 0.005,
        pose_white_deg: 0.2,
        pose_drift_m: 0.006,
        pose_drift_deg: 0.08,
        pose_drift_s: 4.0,
        mount_m: 0.001,
        mount_deg: 0.05,
        limb_m: 0.005,
        ..ErrorSpec::default()
    }
}

pub(super) fn typical_statement() -> StatedSpec {
    StatedSpec {
        box_edge_px: Some(1.4),
        pose_translation_m: Some(0.008),
        pose_rotation_deg: Some(0.22),
        limb_m: Some(0.005),
        ..StatedSpec::rates(0.8, 0.85, 0.6)
    }
}
