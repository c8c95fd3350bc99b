//! Named scenes. The files in `fixtures/scenes` are these; a test holds them equal.
//!
//! All figures are invented within what the sources of `fixtures/scenes/README.md` allow.

use super::rigs::{
    drive, half_of_axes, on_mast, stereo_pair, typical_detector, typical_errors, typical_statement,
};
use super::{
    BodyKind, CameraSpec, CropSpec, DepthSpec, DetectorSpec, ErrorSpec, Facing, Free, LeafSpec,
    LensSpec, Motion, OrchardSpec, PartSpec, PassSpec, PoseSource, SceneSpec, StatedSpec,
    TrackSpec, WindSpec,
};

impl SceneSpec {
    /// Names of all named scenes.
    pub const NAMES: [&'static str; 14] = [
        "perfect",
        "close",
        "platform",
        "hard",
        "dense",
        "sparse_views",
        "single_camera_phone",
        "two_sides",
        "no_orchard",
        "larger_fruit",
        "long_row",
        "bloom",
        "buds",
        "two_trees",
    ];

    /// The scene of that name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Some(match name {
            "perfect" => Self::perfect(),
            "close" => Self::close(),
            "platform" => Self::platform(),
            "hard" => Self::hard(),
            "dense" => Self::dense(),
            "sparse_views" => Self::sparse_views(),
            "single_camera_phone" => Self::single_camera_phone(),
            "two_sides" => Self::two_sides(),
            "no_orchard" => Self::no_orchard(),
            "larger_fruit" => Self::larger_fruit(),
            "long_row" => Self::long_row(),
            "bloom" => Self::bloom(),
            "buds" => Self::buds(),
            "two_trees" => Self::two_trees(),
            _ => return None,
        })
    }

    /// No noise, nothing hidden, nothing false; fruit are spheres.
    #[must_use]
    pub fn perfect() -> Self {
        let mut s = on_mast("perfect", 1, drive(0.25, 27));
        s.crop = CropSpec {
            cluster_size_weights: [0.15, 0.35, 0.35, 0.15, 0.0, 0.0],
            spur_gap_mm: 60.0,
            length_ratio: [1.0, 1.0],
            ..CropSpec::default()
        };
        s.leaves.per_cluster = 0.0;
        s.detector = DetectorSpec::faultless();
        s.errors = ErrorSpec::none();
        s.stated = StatedSpec {
            box_edge_px: Some(0.05),
            pose_translation_m: Some(1e-5),
            pose_rotation_deg: Some(0.001),
            ..StatedSpec::rates(0.0, 1.0, 1.0)
        };
        s
    }

    /// One tree, a close stereo pair, good poses, depth and tracks on the boxes.
    #[must_use]
    pub fn close() -> Self {
        let mut s = Self {
            name: "close".into(),
            stage_bbch: Some(72),
            cameras: stereo_pair(),
            ..Self::default()
        };
        s.passes = vec![drive(0.2, 25)];
        if let Motion::AlongRow(m) = &mut s.passes[0].motion {
            m.from_m = [-0.48, -0.68, 1.25];
        }
        s.detector = DetectorSpec {
            body: PartSpec {
                probability: 0.94,
                ..PartSpec::default()
            },
            edge_white_px: 0.7,
            edge_constant_px: 0.3,
            false_per_image: 0.3,
            depth: DepthSpec {
                probability: 0.8,
                ..DepthSpec::default()
            },
            axis: half_of_axes(),
            track: TrackSpec {
                given: true,
                ..TrackSpec::default()
            },
            ..DetectorSpec::default()
        };
        s.errors = ErrorSpec {
            pose_white_m: 0.001,
            pose_white_deg: 0.04,
            pose_drift_m: 0.001,
            pose_drift_deg: 0.02,
            mount_m: 0.0002,
            mount_deg: 0.01,
            limb_m: 0.003,
            ..ErrorSpec::default()
        };
        s.stated = StatedSpec {
            box_edge_px: Some(0.8),
            pose_translation_m: Some(0.0014),
            pose_rotation_deg: Some(0.045),
            ..StatedSpec::rates(0.3, 0.9, 0.6)
        };
        s
    }

    /// Three trees, a mast of three cameras, typical noise, a third of the fruit's area hidden.
    #[must_use]
    pub fn platform() -> Self {
        let mut s = on_mast("platform", 3, drive(0.26, 50));
        s.leaves.per_cluster = 5.0;
        s.detector = typical_detector();
        s.errors = typical_errors();
        s.stated = typical_statement();
        s
    }

    /// Heavy leaf cover, weak detector, poor poses in a file of their own, wind, a clock offset, nothing stated.
    #[must_use]
    pub fn hard() -> Self {
        let mut s = on_mast("hard", 3, drive(0.36, 45));
        s.passes[0].rate_hz = 5.5;
        s.passes[0].start_s = 2.0;
        s.leaves = LeafSpec {
            per_cluster: 9.0,
            ..LeafSpec::default()
        };
        s.wind = WindSpec {
            sway_mm: 4.0,
            period_s: 3.0,
        };
        s.detector = DetectorSpec {
            body: PartSpec {
                probability: 0.7,
                ..PartSpec::default()
            },
            body_logit_deviation: 0.9,
            edge_white_px: 2.0,
            edge_constant_px: 1.5,
            false_per_image: 1.2,
            false_objects_per_tree: 3.0,
            ignored_per_image: 0.4,
            merge_probability: 0.3,
            duplicate_probability: 0.03,
            axis: super::AxisSpec {
                probability: 0.5,
                deviation_deg: 20.0,
            },
            ..DetectorSpec::default()
        };
        s.errors = ErrorSpec {
            poses: PoseSource::Trajectory,
            pose_white_m: 0.01,
            pose_white_deg: 0.3,
            pose_drift_m: 0.012,
            pose_drift_deg: 0.15,
            pose_drift_s: 4.0,
            mount_m: 0.002,
            mount_deg: 0.1,
            clock_offset_s: 0.04,
            limb_m: 0.008,
            ..ErrorSpec::default()
        };
        s
    }

    /// Clusters that touch, five or six fruit each.
    #[must_use]
    pub fn dense() -> Self {
        let mut s = on_mast("dense", 1, drive(0.26, 20));
        s.stage_bbch = Some(73);
        s.crop = CropSpec {
            cluster_size_weights: [0.0, 0.0, 0.04, 0.10, 0.41, 0.45],
            spur_gap_mm: 17.0,
            spur_gap_more_mm: 18.0,
            diameter_mean_mm: Some(15.5),
            diameter_deviation_mm: Some(1.8),
            diameter_bounds_mm: Some([9.0, 20.0]),
            ..CropSpec::default()
        };
        s.leaves.per_cluster = 1.5;
        s.detector = DetectorSpec {
            false_objects_per_tree: 0.0,
            ..typical_detector()
        };
        s.errors = ErrorSpec {
            pose_white_m: 0.004,
            pose_white_deg: 0.15,
            ..ErrorSpec::default()
        };
        s.stated = StatedSpec {
            box_edge_px: Some(1.4),
            pose_translation_m: Some(0.005),
            pose_rotation_deg: Some(0.16),
            ..StatedSpec::default()
        };
        s
    }

    /// Three or four views a fruit.
    #[must_use]
    pub fn sparse_views() -> Self {
        let mut s = Self {
            name: "sparse_views".into(),
            stage_bbch: Some(72),
            ..Self::default()
        };
        s.orchard.trees_per_row = 3;
        s.cameras = vec![CameraSpec {
            id: "single".into(),
            width_px: 2000,
            height_px: 2000,
            focal_px: [2040.0, 2041.0],
            principal_px: [1007.0, 991.0],
            ..CameraSpec::default()
        }];
        s.passes = vec![PassSpec {
            rate_hz: 3.0,
            ..drive(0.62, 15)
        }];
        s.detector = DetectorSpec {
            false_objects_per_tree: 0.0,
            ..typical_detector()
        };
        s.errors = ErrorSpec {
            pose_white_m: 0.004,
            pose_white_deg: 0.12,
            ..ErrorSpec::default()
        };
        s.stated = StatedSpec {
            box_edge_px: Some(1.4),
            pose_translation_m: Some(0.005),
            pose_rotation_deg: Some(0.13),
            false_positives_per_frame: Some(0.8),
            ..StatedSpec::default()
        };
        s
    }

    /// One hand-held camera moving freely, 20 images, poses in a file of their own.
    #[must_use]
    pub fn single_camera_phone() -> Self {
        let mut s = Self {
            name: "single_camera_phone".into(),
            ..Self::default()
        };
        s.stage_bbch = Some(73);
        s.orchard.limbs_per_tree = [7, 9];
        s.cameras = vec![CameraSpec {
            id: "handheld".into(),
            width_px: 3000,
            height_px: 4000,
            focal_px: [2930.0, 2932.0],
            principal_px: [1508.0, 1994.0],
            lens: LensSpec::PlumbBob([0.035, -0.07, 0.0001, -0.0001, 0.02]),
            ..CameraSpec::default()
        }];
        s.passes = vec![PassSpec {
            id: None,
            start_s: 1.0,
            exposures: 20,
            rate_hz: 4.0,
            motion: Motion::Free(Free {
                reach_m: [0.4, 0.12, 0.5],
                ..Free::default()
            }),
        }];
        s.crop.diameter_mean_mm = Some(17.0);
        s.crop.diameter_deviation_mm = Some(1.8);
        s.crop.diameter_bounds_mm = Some([12.0, 25.0]);
        s.leaves.per_cluster = 4.0;
        s.detector = DetectorSpec {
            axis: half_of_axes(),
            ..DetectorSpec::default()
        };
        s.errors = ErrorSpec {
            poses: PoseSource::Trajectory,
            trajectory_hz: 30.0,
            pose_white_m: 0.001,
            pose_white_deg: 0.05,
            pose_drift_m: 0.006,
            pose_drift_deg: 0.15,
            pose_drift_s: 8.0,
            mount_m: 0.0,
            mount_deg: 0.0,
            ..ErrorSpec::default()
        };
        s.stated = StatedSpec {
            box_edge_px: Some(0.6),
            pose_translation_m: Some(0.001),
            pose_rotation_deg: Some(0.05),
            ..StatedSpec::default()
        };
        s
    }

    /// Both sides of the row, in two passes with an unknown offset between them.
    #[must_use]
    pub fn two_sides() -> Self {
        let mut s = Self {
            name: "two_sides".into(),
            passes: Vec::new(),
            ..Self::platform()
        };
        s.orchard.trees_per_row = 2;
        let mut out = PassSpec {
            id: Some("out".into()),
            ..drive(0.26, 34)
        };
        let mut back = PassSpec {
            id: Some("back".into()),
            start_s: 40.0,
            ..drive(-0.26, 34)
        };
        if let (Motion::AlongRow(out), Motion::AlongRow(back)) = (&mut out.motion, &mut back.motion)
        {
            out.from_m = [-0.5, -0.9, 1.4];
            back.from_m = [1.6, 0.9, 1.4];
            back.facing = Facing::MinusY;
        }
        s.passes = vec![out, back];
        s.errors.pass_offset_m = 0.015;
        s.errors.pass_offset_deg = 0.3;
        s
    }

    /// As `platform`, two trees, and nobody knows where the trees are.
    #[must_use]
    pub fn no_orchard() -> Self {
        let mut s = Self {
            name: "no_orchard".into(),
            ..Self::platform()
        };
        s.orchard.trees_per_row = 2;
        s.orchard.known = false;
        s.passes[0].exposures = 34;
        s.stated.limb_m = None;
        s
    }

    /// Later in the season: fruit of 22 to 40 mm.
    #[must_use]
    pub fn larger_fruit() -> Self {
        let mut s = Self {
            name: "larger_fruit".into(),
            ..Self::platform()
        };
        s.stage_bbch = Some(74);
        s.orchard.trees_per_row = 2;
        s.passes[0].exposures = 34;
        s.crop = CropSpec {
            cluster_size_weights: [0.34, 0.38, 0.20, 0.08, 0.0, 0.0],
            spur_gap_mm: 80.0,
            spur_gap_more_mm: 60.0,
            stem_mean_mm: 27.0,
            diameter_mean_mm: Some(30.0),
            diameter_deviation_mm: Some(3.5),
            diameter_bounds_mm: Some([22.0, 40.0]),
            king_diameter_ratio: 1.08,
            hang: 0.6,
            ..CropSpec::default()
        };
        s.leaves.length_mm = [50.0, 95.0];
        s.leaves.distance_mm = [30.0, 80.0];
        s
    }

    /// Thirty trees.
    #[must_use]
    pub fn long_row() -> Self {
        let mut s = Self {
            name: "long_row".into(),
            ..Self::platform()
        };
        s.orchard.trees_per_row = 30;
        s.orchard.post_every_trees = 6;
        s.passes = vec![drive(0.4, 305)];
        s
    }

    /// First flowers: balloons and open flowers that interleave, kings ahead.
    #[must_use]
    pub fn bloom() -> Self {
        let mut s = on_mast("bloom", 1, drive(0.25, 24));
        s.stage_bbch = Some(61);
        s.crop = CropSpec {
            kind: BodyKind::Flowers,
            cluster_size_weights: [0.0, 0.0, 0.02, 0.08, 0.45, 0.45],
            king_share: 0.97,
            spur_gap_mm: 70.0,
            stem_mean_mm: 19.0,
            stem_deviation_mm: 2.5,
            stem_bounds_mm: [12.0, 28.0],
            diameter_mean_mm: Some(21.0),
            diameter_deviation_mm: Some(2.5),
            diameter_bounds_mm: Some([14.0, 32.0]),
            king_diameter_ratio: 1.2,
            length_ratio: [0.85, 1.0],
            hang: 0.0,
            least_gap_mm: -5.0,
            ..CropSpec::default()
        };
        s.leaves = LeafSpec {
            per_cluster: 3.0,
            length_mm: [20.0, 40.0],
            ..LeafSpec::default()
        };
        s.detector = DetectorSpec {
            stem: PartSpec {
                probability: 0.3,
                ..DetectorSpec::default().stem
            },
            king_confusion: 0.08,
            ..typical_detector()
        };
        s.errors = typical_errors();
        s.stated = StatedSpec {
            stem_probability: Some(0.3),
            calyx_probability: None,
            ..typical_statement()
        };
        s
    }

    /// Bud burst: one bud a spur, no leaves.
    #[must_use]
    pub fn buds() -> Self {
        let mut s = on_mast("buds", 2, drive(0.25, 34));
        s.stage_bbch = Some(53);
        s.crop = CropSpec {
            kind: BodyKind::Buds,
            cluster_size_weights: [1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
            king_share: 0.0,
            spur_gap_mm: 30.0,
            spur_gap_more_mm: 30.0,
            spur_length_mm: [3.0, 14.0],
            stem_mean_mm: 1.5,
            stem_deviation_mm: 0.3,
            stem_bounds_mm: [1.0, 3.0],
            diameter_mean_mm: Some(7.0),
            diameter_deviation_mm: Some(1.2),
            diameter_bounds_mm: Some([4.0, 11.0]),
            length_ratio: [1.15, 1.5],
            hang: 0.0,
            ..CropSpec::default()
        };
        s.leaves.per_cluster = 0.0;
        s.detector = typical_detector();
        s.errors = typical_errors();
        s.stated = StatedSpec {
            stem_probability: None,
            calyx_probability: None,
            ..typical_statement()
        };
        s
    }

    /// The shipped demonstration: two short trees, modest noise, one pass with a mast of two cameras.
    #[must_use]
    pub fn two_trees() -> Self {
        let mut s = on_mast("two_trees", 2, drive(0.25, 20));
        s.orchard = OrchardSpec {
            height_m: [1.5, 1.7],
            lowest_limb_m: 0.6,
            limbs_per_tree: [5, 6],
            limb_length_m: [0.35, 0.5],
            trunk_diameter_mm: [30.0, 40.0],
            wires_at_m: vec![0.7, 1.3],
            ..s.orchard
        };
        s.cameras.truncate(2);
        s.passes[0].rate_hz = 3.0;
        if let Motion::AlongRow(m) = &mut s.passes[0].motion {
            m.from_m[2] = 1.4;
        }
        s.leaves.per_cluster = 2.0;
        s.detector = DetectorSpec {
            axis: half_of_axes(),
            ..DetectorSpec::default()
        };
        s.stated = StatedSpec {
            box_edge_px: Some(1.1),
            pose_translation_m: Some(0.004),
            pose_rotation_deg: Some(0.1),
            limb_m: Some(0.004),
            ..StatedSpec::rates(0.5, 0.85, 0.6)
        };
        s
    }
}
