//! How good the detector is.

use serde::{Deserialize, Serialize};

/// The detector.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DetectorSpec {
    /// Whether things hide one another; false sees through everything.
    pub occlusion: bool,
    /// Bodies.
    pub body: PartSpec,
    /// Stems.
    pub stem: PartSpec,
    /// Calyx ends.
    pub calyx: PartSpec,
    /// A calyx end is seen where its direction is within this of the line to the camera, degrees.
    pub calyx_within_deg: f64,
    /// Diameter of the calyx end over that of the fruit.
    pub calyx_share: f64,
    /// Spread between bodies of how easy they are to detect: standard deviation of the logit.
    pub body_logit_deviation: f64,
    /// Standard deviation of a box edge, the part that is new in each image, pixels.
    pub edge_white_px: f64,
    /// Standard deviation of the part that is constant for a body and camera, pixels.
    pub edge_constant_px: f64,
    /// Mean number of false body boxes an image that show nothing.
    pub false_per_image: f64,
    /// Mean number of things a tree that look like a body from everywhere.
    pub false_objects_per_tree: f64,
    /// Chance that such a thing is boxed when it could be.
    pub false_object_probability: f64,
    /// Mean number of boxes an image of class `ignore`.
    pub ignored_per_image: f64,
    /// Chance that two overlapping body boxes become one.
    pub merge_probability: f64,
    /// Overlap (intersection over the smaller box) from which they may.
    pub merge_from_overlap: f64,
    /// Chance that a body is boxed twice.
    pub duplicate_probability: f64,
    /// Chance that a king flower is boxed as an ordinary one, and the other way round.
    pub king_confusion: f64,
    /// Boxes with a side below this are dropped, pixels.
    pub least_side_px: f64,
    /// Chance that a body is damaged; only then do boxes carry that field.
    pub damaged_share: f64,
    /// Written coordinates are multiples of this, pixels; 0 = as computed.
    pub box_step_px: f64,
    /// Depth values on boxes.
    pub depth: DepthSpec,
    /// Image directions on body boxes.
    pub axis: AxisSpec,
    /// The detector's own tracks.
    pub track: TrackSpec,
}

/// Detection of one sort of thing; where it is given, it is given whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartSpec {
    /// Chance of a box when the thing is wholly visible and large.
    pub probability: f64,
    /// Visible share below which it is never boxed.
    pub never_below_share: f64,
    /// Visible share above which hiding costs nothing.
    pub full_above_share: f64,
    /// Size (square root of the box area) at which the chance is halved, pixels; 0 = size does not matter.
    pub half_size_px: f64,
}

/// Depth on boxes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DepthSpec {
    /// Chance that a box carries a depth.
    pub probability: f64,
    /// Standard deviation of it, metres.
    pub deviation_m: f64,
    /// Share of depths that are of something else.
    pub outlier_share: f64,
}

/// Image direction from the stem end to the calyx end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct AxisSpec {
    /// Chance that a body box carries one.
    pub probability: f64,
    /// Standard deviation where the axis lies across the line of sight, degrees; grows as it turns towards it.
    pub deviation_deg: f64,
}

/// Tracks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TrackSpec {
    /// Whether body boxes carry tracks.
    pub given: bool,
    /// Chance an image that a body's track is broken off and a new one begun.
    pub switch_probability: f64,
}

impl Default for DetectorSpec {
    fn default() -> Self {
        Self {
            occlusion: true,
            body: PartSpec::default(),
            stem: PartSpec {
                probability: 0.65,
                never_below_share: 0.35,
                full_above_share: 0.85,
                half_size_px: 6.0,
            },
            calyx: PartSpec {
                probability: 0.65,
                never_below_share: 0.4,
                full_above_share: 0.9,
                half_size_px: 3.0,
            },
            calyx_within_deg: 65.0,
            calyx_share: 0.3,
            body_logit_deviation: 0.5,
            edge_white_px: 1.0,
            edge_constant_px: 0.5,
            false_per_image: 0.5,
            false_objects_per_tree: 0.0,
            false_object_probability: 0.3,
            ignored_per_image: 0.0,
            merge_probability: 0.0,
            merge_from_overlap: 0.3,
            duplicate_probability: 0.0,
            king_confusion: 0.0,
            least_side_px: 2.0,
            damaged_share: 0.0,
            box_step_px: 0.01,
            depth: DepthSpec::default(),
            axis: AxisSpec::default(),
            track: TrackSpec::default(),
        }
    }
}

impl Default for PartSpec {
    fn default() -> Self {
        Self {
            probability: 0.88,
            never_below_share: 0.15,
            full_above_share: 0.7,
            half_size_px: 5.0,
        }
    }
}

impl Default for DepthSpec {
    fn default() -> Self {
        Self {
            probability: 0.0,
            deviation_m: 0.004,
            outlier_share: 0.05,
        }
    }
}

impl Default for AxisSpec {
    fn default() -> Self {
        Self {
            probability: 0.0,
            deviation_deg: 12.0,
        }
    }
}

impl Default for TrackSpec {
    fn default() -> Self {
        Self {
            given: false,
            switch_probability: 0.05,
        }
    }
}

impl DetectorSpec {
    /// Sees everything, errs in nothing.
    #[must_use]
    pub fn faultless() -> Self {
        let part = PartSpec {
            probability: 1.0,
            never_below_share: 0.5,
            full_above_share: 0.5,
            half_size_px: 0.0,
        };
        Self {
            occlusion: false,
            body: part.clone(),
            stem: part.clone(),
            calyx: part,
            edge_white_px: 0.0,
            edge_constant_px: 0.0,
            false_per_image: 0.0,
            box_step_px: 1e-6,
            depth: DepthSpec {
                probability: 1.0,
                deviation_m: 0.0,
                outlier_share: 0.0,
            },
            axis: AxisSpec {
                probability: 1.0,
                deviation_deg: 0.0,
            },
            ..Self::default()
        }
    }
}
