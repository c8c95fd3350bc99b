//! `diagnostics.json`.

use crate::wire::header::output_file;
use crate::wire::num::Num;
use crate::wire::run::ClassWire;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

output_file! {
    /// Whether the fusion of boxes can be trusted. Mountings, clock and noise, each with its deviation, stand in
    /// `calibration.json`.
    #[schemars(rename = "Diagnostics")]
    DiagnosticsFile {
        /// Residuals of the box edges of each camera, over bodies of three boxes or more.
        cameras: Vec<CameraResidualsWire>,
        /// Each pose of the rig: what its images show and what holds it. In the order of `rig_poses` in
        /// `calibration.json`.
        times: Vec<TimeWire>,
        /// What each round of fusion did; the first is the first pass.
        rounds: Vec<RoundWire>,
        /// What was done to single bodies, in order.
        events: Vec<EventWire>,
        /// Events that are only counted, and those beyond the limit.
        events_not_listed: EventCounts,
        /// What became of the boxes of bodies, a camera and class.
        boxes: Vec<BoxCountsWire>,
    }
}

/// Residuals of box edges: positive where the box is larger than the body.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "EdgeResiduals")]
pub(crate) struct EdgesWire {
    /// How many edges.
    pub(crate) edges: usize,
    /// Mean of those taken as unhidden; null = none.
    pub(crate) mean_px: Option<Num>,
    /// Robust standard deviation of all: 1.4826 times the median distance from the median.
    pub(crate) spread_px: Option<Num>,
    /// Share taken as moved inwards by something in front.
    pub(crate) occluded_share: Option<Num>,
}

/// Residuals of one camera.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "CameraResiduals")]
pub(crate) struct CameraResidualsWire {
    /// Id of the camera.
    pub(crate) camera: String,
    /// Left edges.
    pub(crate) left: EdgesWire,
    /// Top edges.
    pub(crate) top: EdgesWire,
    /// Right edges.
    pub(crate) right: EdgesWire,
    /// Bottom edges.
    pub(crate) bottom: EdgesWire,
    /// All edges by the distance of the body from the camera.
    pub(crate) by_distance: Vec<BandWire>,
}

/// Residuals of bodies between two distances.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "DistanceBand")]
pub(crate) struct BandWire {
    /// From here.
    pub(crate) from_m: Num,
    /// To here; null = any distance beyond.
    pub(crate) to_m: Option<Num>,
    /// The residuals.
    pub(crate) residuals: EdgesWire,
}

/// Middle and spread of some residuals.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Spread")]
pub(crate) struct SpreadWire {
    /// Median; null = no residual.
    pub(crate) median_px: Option<Num>,
    /// 1.4826 times the median distance from it.
    pub(crate) spread_px: Option<Num>,
}

/// A pose of the rig.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Time")]
pub(crate) struct TimeWire {
    /// Image time.
    pub(crate) time_s: Num,
    /// Pass over the row.
    pub(crate) pass: Option<String>,
    /// Images that share the pose.
    pub(crate) images: usize,
    /// Boxes that a body explains.
    pub(crate) matched: usize,
    /// Bodies that an image should have shown and did not; null = not counted.
    pub(crate) missed: Option<usize>,
    /// Boxes that no body explains.
    pub(crate) unclaimed: usize,
    /// Middle of the boxes against the bodies', positive to the right.
    pub(crate) across: SpreadWire,
    /// The same, positive downwards.
    pub(crate) down: SpreadWire,
    /// Half the size of the boxes against the bodies', positive where the box is larger.
    pub(crate) size: SpreadWire,
    /// Length of the correction's translation.
    pub(crate) correction_m: Num,
    /// Angle of its rotation.
    pub(crate) correction_deg: Num,
    /// Standard deviation of the corrected translation per axis; null = not estimated.
    pub(crate) translation_deviation_m: Option<Num>,
    /// The same of the rotation.
    pub(crate) rotation_deviation_deg: Option<Num>,
    /// Bodies that its images and those of another pose show.
    pub(crate) linking_bodies: usize,
    /// Whether the boxes tell next to nothing of the pose.
    pub(crate) on_prior_alone: bool,
}

/// A round of fusion.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Round")]
pub(crate) struct RoundWire {
    /// Bodies at its end.
    pub(crate) bodies: usize,
    /// Boxes that they explain.
    pub(crate) claimed: usize,
    /// Boxes that changed hands; null for the first pass.
    pub(crate) changed_hands: Option<usize>,
    /// Bodies begun.
    pub(crate) begun: usize,
    /// Bodies that went into another.
    pub(crate) merged: usize,
    /// Bodies taken apart.
    pub(crate) split: usize,
    /// Bodies given up.
    pub(crate) dropped: usize,
    /// Standard deviation of a box edge as estimated then.
    pub(crate) box_edge_px: Num,
    /// Standard deviation per axis of motion between images as estimated then.
    pub(crate) motion_mm: Num,
}

/// What was done to a body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "EventKind")]
pub(crate) enum EventKindWire {
    Begun,
    Merged,
    Split,
    Dropped,
}

/// Why it was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "EventReason")]
pub(crate) enum EventReasonWire {
    LeftoverBoxes,
    BetterTogether,
    BetterApart,
    OverlapsAnother,
    OthersExplain,
    FewerThanTwoBoxes,
    ExistenceTooLow,
}

/// Something done to a body.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Event")]
pub(crate) struct EventWire {
    /// What.
    pub(crate) kind: EventKindWire,
    /// Position of its round in `rounds`.
    pub(crate) round: usize,
    /// Id of the fruitlet that most of its boxes ended up with; null = it is gone.
    pub(crate) fruitlet: Option<String>,
    /// Where it was.
    pub(crate) place_m: [Num; 3],
    /// Boxes: before a drop, after anything else.
    pub(crate) boxes: usize,
    /// Log likelihood of those concerned over the same boxes as false, before; null = nothing was there.
    pub(crate) log_likelihood_before: Option<Num>,
    /// The same after; null = nothing is left.
    pub(crate) log_likelihood_after: Option<Num>,
    /// Why.
    pub(crate) reason: EventReasonWire,
}

/// How many events.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub(crate) struct EventCounts {
    /// Bodies begun.
    pub(crate) begun: usize,
    /// Bodies that went into another.
    pub(crate) merged: usize,
    /// Bodies taken apart.
    pub(crate) split: usize,
    /// Bodies given up.
    pub(crate) dropped: usize,
}

/// What became of the boxes of one camera and class; each box counts once.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "BoxCounts")]
pub(crate) struct BoxCountsWire {
    /// Id of the camera.
    pub(crate) camera: String,
    /// Class of the boxes.
    pub(crate) class: ClassWire,
    /// All boxes.
    pub(crate) boxes: usize,
    /// Share of them that fruitlets of the map explain, whole or cut.
    pub(crate) explained_share: Num,
    /// A fruitlet of the map explains it, all edges used.
    pub(crate) explained: usize,
    /// A fruitlet explains it; the image border cuts it, and the edges there are not used.
    pub(crate) cut: usize,
    /// A second box of a fruitlet that has one in the same image.
    pub(crate) duplicate: usize,
    /// One box over two fruitlets.
    pub(crate) merged: usize,
    /// Explained by a body that is too unlikely to stand in the map.
    pub(crate) of_dropped: usize,
    /// Nothing explains it: taken as false.
    pub(crate) unclaimed: usize,
    /// The lens model has no ray for it.
    pub(crate) unusable: usize,
    /// Its image has no usable pose.
    pub(crate) left_out: usize,
}
