//! Settings of fusion. Every default is a physical guess that the run's stated noise or the run itself replaces.

/// Settings of fusion.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Standard deviation of a box edge where the run states none, pixels (0.05 to 20). A detector on fruit of some
    /// 25 px is rarely better than a pixel or two.
    pub box_edge_px: f64,
    /// Standard deviation per axis of the rig's position where the run states none, metres. Satellite positioning
    /// with inertial aid under trees.
    pub pose_translation_m: f64,
    /// The same of the rotation, radians.
    pub pose_rotation_rad: f64,
    /// Standard deviation per axis of a camera's mounting, metres: what a tape measure and a bracket give.
    pub mount_translation_m: f64,
    /// The same of the rotation, radians.
    pub mount_rotation_rad: f64,
    /// Mean and standard deviation of the radius where neither stage nor run tells, metres.
    pub radius_prior_m: (f64, f64),
    /// Chance that a visible body is detected, where not stated.
    pub detection_probability: f64,
    /// Mean number of false body boxes an image, where not stated.
    pub false_positives_per_frame: f64,
    /// What moves bodies between images (wind, poses after correction), standard deviation per axis before the run
    /// has told, metres: where the run states its noise, and where it states none.
    pub motion_m: (f64, f64),
    /// Share of box edges that something in front has moved inwards, before the run has told.
    pub occluded_share: f64,
    /// Nearest and farthest distance at which bodies are looked for, metres.
    pub distance_m: (f64, f64),
    /// A box edge this near to the image border may be cut by it, pixels.
    pub border_px: f64,
    /// Share of that motion's variance that fruit of one spur have in common (0 to 1), before the run has told; where it
    /// states its noise (and so says nothing of wind) none is assumed. `None`: each is taken to move by itself.
    pub common_motion: Option<f64>,
    /// How long that motion lasts, seconds: a branch sways about once a second (common practice, no source).
    pub motion_lasts_s: f64,
    /// Most rounds of refinement and new association after the first pass (1 to 20).
    pub rounds: usize,
    /// After two rounds at least, they end when fewer than this share of the boxes change hands in one (0 to 1).
    pub settled_share: f64,
    /// Bodies below this existence are dropped from the scene.
    pub drop_below: f64,
    /// Bodies in a cubic metre of what is not empty, before the run has told (1 to 10000).
    pub bodies_per_m3: f64,
    /// How far beyond the stated bound of extrapolation a pose may be taken: images further out are left out, seconds.
    pub max_extrapolation_s: f64,
    /// Settings of the parts (stems, calyx ends).
    pub parts: crate::parts::PartsConfig,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            box_edge_px: 1.5,
            pose_translation_m: 0.02,
            pose_rotation_rad: 0.5_f64.to_radians(),
            mount_translation_m: 0.002,
            mount_rotation_rad: 0.1_f64.to_radians(),
            radius_prior_m: (0.008, 0.004),
            detection_probability: 0.8,
            false_positives_per_frame: 1.0,
            motion_m: (0.002, 0.005),
            common_motion: Some(0.75),
            motion_lasts_s: 0.2,
            occluded_share: 0.25,
            distance_m: (0.15, 4.0),
            border_px: 2.0,
            rounds: 6,
            settled_share: 0.005,
            drop_below: 0.1,
            bodies_per_m3: 300.0,
            max_extrapolation_s: 0.05,
            parts: crate::parts::PartsConfig::default(),
        }
    }
}
