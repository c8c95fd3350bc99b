//! The map's identities against true ones, by the overlap of boxes: the figures of the tracking literature.
//!
//! The track of a map fruitlet is the detector's body boxes that it claims; the true track of an object is its true
//! boxes. Images follow each other in the order of the run, whichever camera took them, so an identity has to last from
//! camera to camera. A true box that nobody has to find, and one without identity, is no part of a track, and a claimed
//! box that overlaps it best is left out with it, as in A. Milan et al., "MOT16: a benchmark for multi-object tracking",
//! arXiv 1603.00831 (2016), sec. 4.1.3.

use crate::association::Claims;
use crate::clear::{clear_mot, identity_boxes};
use crate::detector::{must_be_found, regions_of};
use crate::figure::Figure;
use crate::input::ScoreInput;
use crate::overlap::{lies_in_any, overlap};
use crate::pairing::best_pairs;
use crate::scores::Part;
use crate::tracking::{HotaParts, TrackedBox, TrackedFrame, swept_hota};
use corymb_model::run::{BoxRef, Frame};
use corymb_model::truth::TrueBox;
use serde::Serialize;
use std::collections::BTreeSet;

/// Overlap at which boxes are held to be the same for the figures that ask for one.
const OVERLAP: f64 = 0.5;

/// Bodies tracked through all images, judged by the overlap of boxes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrackingScores {
    /// Images with true boxes; the others are left out.
    pub images: usize,
    /// True boxes of objects with identity that must be found.
    pub boxes_true: usize,
    /// Boxes that map fruitlets claim.
    pub boxes_claimed: usize,
    /// HOTA, mean over the overlaps 0.05, 0.1, ... 0.95.
    pub hota_by_overlap: Figure,
    /// DetA, the same.
    pub det_a_by_overlap: Figure,
    /// AssA, the same.
    pub ass_a_by_overlap: Figure,
    /// LocA, the same.
    pub loc_a_by_overlap: Figure,
    /// The four at each overlap.
    pub at_overlap: Vec<HotaAtOverlap>,
    /// 1 - (misses + false claims + switches) / true boxes at overlap 0.5.
    pub mota_by_overlap: Figure,
    /// Mean overlap of the boxes paired for MOTA.
    pub motp_by_overlap: Figure,
    /// True boxes without a pair, at overlap 0.5.
    pub misses_by_overlap: usize,
    /// Claimed boxes without a pair, at overlap 0.5.
    pub false_ones_by_overlap: usize,
    /// True boxes whose identity was last paired with another claimed one, at overlap 0.5.
    pub identity_switches_by_overlap: usize,
    /// How often a true track is lost and found again, at overlap 0.5.
    pub fragmentations_by_overlap: usize,
    /// 2 IDTP / (true + claimed boxes) at overlap 0.5.
    pub idf1_by_overlap: Figure,
    /// IDTP / claimed boxes.
    pub id_precision_by_overlap: Figure,
    /// IDTP / true boxes.
    pub id_recall_by_overlap: Figure,
}

/// HOTA at one overlap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HotaAtOverlap {
    /// Overlap that is asked for.
    pub overlap: f64,
    /// sqrt(DetA AssA).
    pub hota: f64,
    /// Right boxes among all true and claimed.
    pub det_a: f64,
    /// Mean over the right boxes of how well their two identities agree.
    pub ass_a: f64,
    /// Mean overlap of the right boxes; 1 where there are none.
    pub loc_a: f64,
}

/// Scores the tracks.
pub(crate) fn tracks(input: &ScoreInput<'_>, claims: &Claims) -> Part<TrackingScores> {
    if input.truth.boxes.is_empty() {
        return Part::absent("the truth has no boxes");
    }
    let has_identity = |boxes: &Vec<TrueBox>| boxes.iter().any(|b| b.object.is_some());
    if !input.truth.boxes.values().any(has_identity) {
        return Part::absent("the boxes of the truth have no identities");
    }
    let frames = tracked_frames(input, claims);
    Part::scored(figures(&frames))
}

fn figures(frames: &[TrackedFrame]) -> TrackingScores {
    let (clear, identity) = (clear_mot(frames, OVERLAP), identity_boxes(frames, OVERLAP));
    let swept = swept_hota(frames);
    let (truth, claimed) = (clear.truth, clear.claims);
    let (none, no_truth) = (
        "there is no true and no claimed box",
        "there is no true box",
    );
    let mean = |of: fn(&HotaParts) -> f64| {
        Figure::new(swept.as_ref().map(|s| of(&s.mean)), truth + claimed, none)
    };
    let at = swept.iter().flat_map(|s| &s.at);
    TrackingScores {
        images: frames.len(),
        boxes_true: truth,
        boxes_claimed: claimed,
        hota_by_overlap: mean(|p| p.hota),
        det_a_by_overlap: mean(|p| p.det_a),
        ass_a_by_overlap: mean(|p| p.ass_a),
        loc_a_by_overlap: mean(|p| p.loc_a),
        at_overlap: at
            .map(|&(overlap, parts)| HotaAtOverlap {
                overlap,
                hota: parts.hota,
                det_a: parts.det_a,
                ass_a: parts.ass_a,
                loc_a: parts.loc_a,
            })
            .collect(),
        mota_by_overlap: Figure::new(clear.mota(), truth, no_truth),
        motp_by_overlap: Figure::new(clear.motp(), clear.pairs, "no box is paired"),
        misses_by_overlap: clear.misses(),
        false_ones_by_overlap: clear.false_ones(),
        identity_switches_by_overlap: clear.switches,
        fragmentations_by_overlap: clear.fragmentations,
        idf1_by_overlap: Figure::new(identity.f1(), truth + claimed, none),
        id_precision_by_overlap: Figure::new(identity.precision(), claimed, "no box is claimed"),
        id_recall_by_overlap: Figure::new(identity.recall(), truth, no_truth),
    }
}

/// True and claimed tracks in the images that have true boxes.
fn tracked_frames(input: &ScoreInput<'_>, claims: &Claims) -> Vec<TrackedFrame> {
    let frames = input.run.frames.iter().enumerate();
    frames
        .filter_map(|(f, frame)| {
            let truth = input.truth.boxes.get(&frame.id)?;
            let claimed = claimed_boxes(f, frame, claims);
            Some(tracked_frame(truth, claimed, regions_of(input, frame)))
        })
        .collect()
}

fn claimed_boxes(frame_idx: usize, frame: &Frame, claims: &Claims) -> Vec<TrackedBox> {
    let bodies = frame
        .detections
        .iter()
        .enumerate()
        .filter(|(_, d)| d.class.is_body());
    bodies
        .filter_map(|(d, detection)| {
            let at = BoxRef {
                frame_idx: u32::try_from(frame_idx).ok()?,
                detection_idx: u32::try_from(d).ok()?,
            };
            let box_px = detection.box_px;
            claims.owner(at).map(|id| TrackedBox { id, box_px })
        })
        .collect()
}

/// Takes out what need not be found, and the claims that are of that.
fn tracked_frame(truth: &[TrueBox], claims: Vec<TrackedBox>, regions: &[[f64; 4]]) -> TrackedFrame {
    let bodies: Vec<&TrueBox> = truth.iter().filter(|b| b.class.is_body()).collect();
    let is_tracked = |b: &TrueBox| b.object.is_some() && must_be_found(b, regions);
    let mut edges = Vec::new();
    for (i, body) in bodies.iter().enumerate() {
        for (j, claim) in claims.iter().enumerate() {
            let shared = overlap(&body.box_px, &claim.box_px);
            if shared >= OVERLAP {
                edges.push((i, j, -shared));
            }
        }
    }
    let excused: BTreeSet<usize> = (best_pairs(&edges).into_iter())
        .filter(|&(i, _)| bodies.get(i).is_some_and(|b| !is_tracked(b)))
        .map(|(_, j)| j)
        .collect();
    let tracked = bodies.iter().filter(|b| is_tracked(b));
    TrackedFrame {
        truth: tracked
            .filter_map(|b| Some((b.object?, b.box_px)))
            .map(|(id, box_px)| TrackedBox { id, box_px })
            .collect(),
        claims: (claims.into_iter().enumerate())
            .filter(|(j, c)| !excused.contains(j) && !lies_in_any(&c.box_px, regions))
            .map(|(_, c)| c)
            .collect(),
    }
}
