//! What tells whether a fusion can be trusted: residuals, observability, what was done to bodies and why, and what
//! became of every box. The unknowns that all images share (mountings, clock) stand in
//! [`Calibration`](crate::scene::Calibration).

use crate::frames::{Orchard, Point};
use crate::run::Class;
use std::collections::BTreeMap;

/// The account of a fusion.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Diagnostics {
    /// Residuals of box edges, one entry a camera.
    pub cameras: Vec<CameraResiduals>,
    /// How each rig pose is held and what its images show, in the order of `Calibration::rig_poses`.
    pub times: Vec<TimeReport>,
    /// What each round did, in order; the first is the first pass, the last is that of the end.
    pub rounds: Vec<Round>,
    /// What was done to single bodies, in order, as many as the limit allows.
    pub events: Vec<Event>,
    /// Events beyond the limit, and those that are only counted.
    pub events_not_listed: BTreeMap<EventKind, usize>,
    /// What became of body boxes, one entry a camera and class that occur, ascending.
    pub boxes: Vec<BoxCounts>,
}

/// Residuals of the box edges of one camera. Only bodies of three boxes or more count: fewer follow their errors.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CameraResiduals {
    /// Position in `Run::cameras`.
    pub camera_idx: usize,
    /// Left, top, right, bottom.
    pub edges: [EdgeResiduals; 4],
    /// All edges by the distance of the body, ascending; bands without an edge are left out.
    pub bands: Vec<DistanceBand>,
}

/// Residuals of many box edges: positive where the box is larger than the sphere.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct EdgeResiduals {
    /// Edges.
    pub count: usize,
    /// Mean of those taken as unhidden (each weighted by that probability), pixels.
    pub mean_px: Option<f64>,
    /// Robust standard deviation (1.4826 times the median distance from the median) of all, pixels.
    pub spread_px: Option<f64>,
    /// Share taken as moved inwards by something in front.
    pub occluded_share: Option<f64>,
}

/// Residuals of bodies between two distances from the camera.
#[derive(Debug, Clone, PartialEq)]
pub struct DistanceBand {
    /// From here, metres.
    pub from_m: f64,
    /// To here; `None` = any distance beyond.
    pub to_m: Option<f64>,
    /// The residuals.
    pub edges: EdgeResiduals,
}

/// Middle and robust standard deviation of some residuals.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spread {
    /// Median, pixels; `None` = no residual.
    pub median_px: Option<f64>,
    /// 1.4826 times the median distance from it, pixels.
    pub spread_px: Option<f64>,
}

/// One rig pose.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TimeReport {
    /// Image time.
    pub time_s: f64,
    /// Pass, where stated.
    pub pass: Option<String>,
    /// Images that share the pose.
    pub images: usize,
    /// Body boxes that a body explains.
    pub matched: usize,
    /// Bodies that an image should have shown and did not; `None` where nobody counted.
    pub missed: Option<usize>,
    /// Body boxes that no body explains.
    pub unclaimed: usize,
    /// Across: the box's middle against the body's, positive to the right in the image.
    pub across: Spread,
    /// Down: the same downwards.
    pub down: Spread,
    /// Half the box's size against the body's, positive where the box is larger.
    pub size: Spread,
    /// Length of the correction's translation, metres.
    pub correction_m: f64,
    /// Angle of the correction's rotation, radians.
    pub correction_rad: f64,
    /// Standard deviation per axis of the corrected translation, metres; `None` = not estimated.
    pub translation_deviation_m: Option<f64>,
    /// The same of the rotation, radians.
    pub rotation_deviation_rad: Option<f64>,
    /// Bodies that its images and those of another pose show: what holds it to the others.
    pub linking_bodies: usize,
    /// Whether the boxes tell next to nothing of the pose: it stands where it was stated.
    pub on_prior_alone: bool,
}

/// What a round did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Round {
    /// Bodies at its end.
    pub bodies: usize,
    /// Boxes that they explain at its end.
    pub claimed: usize,
    /// Boxes that came to another body than the others of theirs, or came or went; `None` for the first pass.
    pub changed_hands: Option<usize>,
    /// Bodies begun.
    pub begun: usize,
    /// Bodies that went into another.
    pub merged: usize,
    /// Bodies that were taken apart.
    pub split: usize,
    /// Bodies given up.
    pub dropped: usize,
    /// Standard deviation of a box edge as estimated at its end, pixels.
    pub box_edge_px: f64,
    /// Standard deviation per axis of motion between images as estimated at its end, metres.
    pub motion_m: f64,
}

/// What was done to a body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EventKind {
    /// A body was begun.
    Begun,
    /// Two bodies became one.
    Merged,
    /// One body became two.
    Split,
    /// A body was given up.
    Dropped,
}

/// Why it was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EventReason {
    /// Boxes that no body explained are explained by a new one.
    LeftoverBoxes,
    /// One body explains the boxes of two that overlap better than they do.
    BetterTogether,
    /// Two bodies explain the boxes of one better than it does.
    BetterApart,
    /// It overlaps another that has more boxes, and its own do not pay for it.
    OverlapsAnother,
    /// Other bodies explain its boxes nearly as well, and what they do not explain does not pay for it.
    OthersExplain,
    /// After new association fewer than two boxes are left.
    FewerThanTwoBoxes,
    /// Its existence is below the limit of the scene.
    ExistenceTooLow,
}

/// Something done to a body.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// What.
    pub kind: EventKind,
    /// Position in [`Diagnostics::rounds`].
    pub round: usize,
    /// The body that most of its boxes ended up with: position in `Scene::bodies`; `None` where it is gone.
    pub body_idx: Option<usize>,
    /// Where it was.
    pub place: Point<Orchard>,
    /// Boxes that it had: before a drop, after anything else.
    pub boxes: usize,
    /// Log likelihood of those concerned over the same boxes as clutter, before; `None` = nothing was there.
    pub log_likelihood_before: Option<f64>,
    /// The same after; `None` = nothing is left.
    pub log_likelihood_after: Option<f64>,
    /// Why.
    pub reason: EventReason,
}

/// What became of a body box. Every body box has one fate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BoxFate {
    /// A body of the scene explains it, all edges used.
    Explained,
    /// A body of the scene explains it; the image border cuts it, and the edges there are not used.
    Cut,
    /// A second box of a body that has one in the same image.
    Duplicate,
    /// One box over two bodies.
    Merged,
    /// Explained by a body that is too unlikely to stand in the scene.
    OfDropped,
    /// No body explains it: taken as false.
    Unclaimed,
    /// The lens model has no ray for it.
    Unusable,
    /// Its image has no usable pose.
    LeftOut,
}

impl BoxFate {
    /// Every fate, in order.
    pub const ALL: [BoxFate; 8] = [
        BoxFate::Explained,
        BoxFate::Cut,
        BoxFate::Duplicate,
        BoxFate::Merged,
        BoxFate::OfDropped,
        BoxFate::Unclaimed,
        BoxFate::Unusable,
        BoxFate::LeftOut,
    ];
}

/// What became of the boxes of one camera and class.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxCounts {
    /// Position in `Run::cameras`.
    pub camera_idx: usize,
    /// Class of the boxes.
    pub class: Class,
    /// Boxes of each fate; a fate that is absent has none.
    pub fates: BTreeMap<BoxFate, usize>,
}

impl BoxCounts {
    /// All boxes.
    #[must_use]
    pub fn total(&self) -> usize {
        self.fates.values().sum()
    }
}

impl Diagnostics {
    /// Boxes of a fate over all cameras and classes.
    #[must_use]
    pub fn boxes_of(&self, fate: BoxFate) -> usize {
        self.boxes.iter().filter_map(|b| b.fates.get(&fate)).sum()
    }
}
