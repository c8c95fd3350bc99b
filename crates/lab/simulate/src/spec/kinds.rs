//! Named scenes. The files in `fixtures/scenes` are these, word for word; a test holds them equal.

use super::{CameraSpec, DetectorSpec, ErrorSpec, LensSpec, Motion, SceneSpec, StatedSpec};

/// Three cameras on a mast, about half a tree apart, all looking across the row.
fn mast() -> Vec<CameraSpec> {
    let mast = |id: &str, focal: f64, lens, position_m, tilt_deg, roll_deg| CameraSpec {
        id: id.into(),
        width_px: 2048,
        height_px: 1536,
        focal_px: [focal, focal + 1.0],
        principal_px: [1018.0, 772.0],
        lens,
        position_m,
        pan_deg: 0.0,
        tilt_deg,
        roll_deg,
    };
    let plumb = LensSpec::PlumbBob([-0.09, 0.05, 0.0003, -0.0004, -0.008]);
    let rational =
        LensSpec::RationalPolynomial([0.32, 0.11, -0.0002, 0.0003, 0.008, 0.41, 0.09, 0.015]);
    let plumb_2 = LensSpec::PlumbBob([-0.11, 0.07, -0.0003, 0.0002, -0.015]);
    vec![
        mast("bottom", 1485.0, plumb, [0.0, 0.0, -0.75], 4.0, 0.0),
        mast("centre", 1478.0, rational, [-0.015, 0.005, 0.0], 0.0, 180.0),
        mast("top", 1491.0, plumb_2, [0.01, 0.0, 0.75], -5.0, 1.0),
    ]
}

impl SceneSpec {
    /// Names and makers of all named scenes, in the order of the documentation.
    pub const KINDS: [(&'static str, fn() -> SceneSpec); 2] = [
        ("perfect", SceneSpec::perfect),
        ("platform", SceneSpec::platform),
    ];
}

/// The scenes themselves.
impl SceneSpec {
    /// No noise, nothing hidden, nothing false.
    #[must_use]
    pub fn perfect() -> Self {
        let mut s = Self {
            name: "perfect".into(),
            cameras: mast(),
            ..Self::default()
        };
        s.crop.length_ratio = [1.0, 1.0];
        s.crop.cluster_size_weights = [0.15, 0.35, 0.35, 0.15, 0.0, 0.0];
        s.crop.spur_gap_mm = 70.0;
        s.leaves.per_cluster = 0.0;
        s.detector = DetectorSpec::faultless();
        s.errors = ErrorSpec::none();
        s.stated = StatedSpec {
            box_edge_px: Some(0.05),
            pose_translation_m: Some(1e-5),
            pose_rotation_deg: Some(0.001),
            false_positives_per_frame: Some(0.0),
            body_probability: Some(1.0),
            stem_probability: Some(1.0),
            calyx_probability: Some(1.0),
            ..StatedSpec::default()
        };
        s.passes[0].exposures = 27;
        s
    }

    /// Three trees, a mast of three cameras, typical noise, a third of the fruit's area hidden.
    #[must_use]
    pub fn platform() -> Self {
        let mut s = Self {
            name: "platform".into(),
            cameras: mast(),
            ..Self::default()
        };
        s.orchard.trees_per_row = 3;
        s.leaves.per_cluster = 2.5;
        s.detector.edge_white_px = 1.2;
        s.detector.edge_constant_px = 0.8;
        s.detector.false_per_image = 0.8;
        s.detector.false_objects_per_tree = 1.0;
        s.detector.axis.probability = 0.6;
        s.errors = ErrorSpec {
            pose_white_m: 0.006,
            pose_white_deg: 0.2,
            pose_drift_m: 0.006,
            pose_drift_deg: 0.08,
            pose_drift_s: 4.0,
            mount_m: 0.001,
            mount_deg: 0.05,
            limb_m: 0.005,
            ..ErrorSpec::default()
        };
        s.stated = StatedSpec {
            box_edge_px: Some(1.4),
            pose_translation_m: Some(0.008),
            pose_rotation_deg: Some(0.22),
            false_positives_per_frame: Some(1.0),
            body_probability: Some(0.85),
            stem_probability: Some(0.6),
            calyx_probability: Some(0.6),
            ..StatedSpec::default()
        };
        s.passes[0].exposures = 50;
        s.passes[0].rate_hz = 4.0;
        if let Motion::AlongRow(m) = &mut s.passes[0].motion {
            m.speed_m_s = 0.25;
        }
        s
    }
}
