//! The detector's boxes against the boxes that a perfect detector would draw.
//!
//! Boxes are judged by kind: any body against any body, stems, calyx ends. A true box of which less than a tenth is
//! visible need not be found; what lies in a left-out region counts for nothing. Where the truth only says what each
//! box of the detector shows, precision is what it says, and there is no recall: nobody marked what was missed.

use crate::figure::{Figure, Share};
use crate::input::ScoreInput;
use crate::overlap::{area_px2, lies_in_any};
use crate::precision::{
    Claimed, Fate, ImageBoxes, Wanted, mean_average_precision, overlaps, precision_curve,
};
use crate::scores::Part;
use corymb_model::run::{Class, Detection, Frame};
use corymb_model::truth::TrueBox;
use serde::Serialize;

/// Overlap at which boxes are counted, matched and measured: the least of those of average precision.
const OVERLAP: f64 = 0.5;
/// Share that must be visible before a box must be found: of less, labels of different people do not agree.
pub(crate) const LEAST_VISIBLE: f64 = 0.1;
/// Bounds of the bins by size, pixels: side of the square of a box's area. The bounds common for photographs of everyday
/// things, 32 and 96, would leave all fruitlets in one bin; these part what hardly shows an outline, what shows an
/// outline but no stem, what shows both, and what fills a good part of an image.
const SIDE_BOUNDS_PX: [f64; 5] = [0.0, 12.0, 24.0, 48.0, f64::INFINITY];
/// Bounds of the bins by visible share.
const VISIBLE_BOUNDS: [f64; 6] = [LEAST_VISIBLE, 0.3, 0.5, 0.7, 0.9, 1.0];

/// The detector against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DetectorScores {
    /// What the truth gives: `boxes` of all objects, or only `labels` of the detector's own boxes.
    pub judged_by: JudgedBy,
    /// Images with such truth; the others are left out.
    pub images: usize,
    /// Bodies of any class.
    pub bodies: KindOfBox,
    /// Stems.
    pub stems: KindOfBox,
    /// Calyx ends.
    pub calyces: KindOfBox,
}

/// What the truth gives of the images.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum JudgedBy {
    /// Boxes of all that a perfect detector would find.
    Boxes,
    /// What each box of the detector shows.
    Labels,
}

/// One kind of box.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KindOfBox {
    /// Boxes of the detector that are right, at overlap 0.5.
    pub right: usize,
    /// Boxes of the detector that show nothing of this kind.
    pub false_ones: usize,
    /// Boxes of the detector that count for nothing: they show what need not be found or was not labelled.
    pub left_out: usize,
    /// True boxes that must be found and are not.
    pub missed: Option<usize>,
    /// Right among right and false.
    pub precision: Share,
    /// Right among right and missed.
    pub recall: Share,
    /// Harmonic mean of precision and recall.
    pub f1: Figure,
    /// Average precision, mean over the overlaps 0.5, 0.55, ... 0.95.
    pub average_precision: Figure,
    /// Average precision at each of these overlaps.
    pub average_precision_at: Vec<AtOverlap>,
    /// By the size of the true box; a false box counts in the bin of its own size.
    pub by_side_px: Vec<InBin>,
    /// By visible share of the true box, where known; a false box has none and counts in every bin.
    pub by_visible_share: Vec<InBin>,
    /// How the edges of the right boxes lie.
    pub edges: EdgeErrors,
}

/// Average precision at an overlap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AtOverlap {
    /// Overlap that is asked for.
    pub overlap: f64,
    /// Average precision.
    pub average_precision: Figure,
}

/// Figures of the true boxes within bounds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InBin {
    /// Lower bound, included.
    pub from: f64,
    /// Upper bound, excluded but for the last; `null` where there is none.
    pub to: Option<f64>,
    /// Found at overlap 0.5, of those that must be found.
    pub recall: Share,
    /// Average precision, mean over the overlaps 0.5, 0.55, ... 0.95.
    pub average_precision: Figure,
}

/// Errors of the edges of right boxes, detector minus truth, pixels; left, top, right, bottom.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgeErrors {
    /// Right boxes.
    pub n: usize,
    /// Mean size of the error over all edges.
    pub mean_error_px: Option<f64>,
    /// Mean of each edge.
    pub bias_px: Option<[f64; 4]>,
    /// Standard deviation of each edge about its mean, of a sample.
    pub deviation_px: Option<[f64; 4]>,
}

const NO_BOXES: &str =
    "the truth has labels of the detector's boxes, but no boxes of what was missed";

/// Scores the detector.
pub(crate) fn detector(input: &ScoreInput<'_>) -> Part<DetectorScores> {
    let by_boxes = !input.truth.boxes.is_empty();
    if !by_boxes && input.truth.detections.is_empty() {
        return Part::absent("the truth has neither boxes nor labels of boxes");
    }
    let frames = input.run.frames.iter();
    let judged: Vec<&Frame> = frames
        .filter(|f| match by_boxes {
            true => input.truth.boxes.contains_key(&f.id),
            false => input.truth.detections.contains_key(&f.id),
        })
        .collect();
    let kind = |wanted: &dyn Fn(Class) -> bool| match by_boxes {
        true => by_true_boxes(input, &judged, wanted),
        false => by_labels(input, &judged, wanted),
    };
    Part::scored(DetectorScores {
        judged_by: if by_boxes {
            JudgedBy::Boxes
        } else {
            JudgedBy::Labels
        },
        images: judged.len(),
        bodies: kind(&Class::is_body),
        stems: kind(&|c| c == Class::Stem),
        calyces: kind(&|c| c == Class::Calyx),
    })
}

/// The boxes of a kind in the judged images.
struct Images<'a> {
    boxes: Vec<ImageBoxes>,
    /// The true boxes of each image as `boxes` has them; left-out regions, which come after them, are not here.
    truth: Vec<Vec<&'a TrueBox>>,
    claimed: Vec<Vec<&'a Detection>>,
}

impl<'a> Images<'a> {
    fn of(input: &ScoreInput<'a>, judged: &[&'a Frame], wanted: &dyn Fn(Class) -> bool) -> Self {
        let mut images = Self {
            boxes: Vec::with_capacity(judged.len()),
            truth: Vec::with_capacity(judged.len()),
            claimed: Vec::with_capacity(judged.len()),
        };
        for frame in judged {
            let regions = regions_of(input, frame);
            let all = input.truth.boxes.get(&frame.id).into_iter().flatten();
            let truth: Vec<&TrueBox> = all.filter(|b| wanted(b.class)).collect();
            let detections = frame.detections.iter();
            let claimed: Vec<&Detection> = detections.filter(|d| wanted(d.class)).collect();
            let objects = truth.iter().map(|b| Wanted {
                box_px: b.box_px,
                required: must_be_found(b, regions),
                region: false,
            });
            let left_out = regions.iter().map(|&box_px| Wanted {
                box_px,
                required: false,
                region: true,
            });
            let claims = claimed.iter().map(|d| Claimed {
                box_px: d.box_px,
                score: d.score,
                may_be_false: true,
            });
            images.boxes.push(ImageBoxes::new(
                objects.chain(left_out).collect(),
                claims.collect(),
            ));
            images.truth.push(truth);
            images.claimed.push(claimed);
        }
        images
    }

    /// Figures of the true boxes that `is_in`; of the claims that find nothing only those that `may_be_false` count.
    fn bin(
        &self,
        bounds: (f64, f64),
        is_in: impl Fn(&TrueBox) -> bool,
        may_be_false: impl Fn(&Detection) -> bool,
    ) -> InBin {
        let restricted = |(k, image): (usize, &ImageBoxes)| {
            let (truth, claimed) = (self.truth.get(k), self.claimed.get(k));
            image.restricted(
                |w, _| truth.and_then(|t| t.get(w)).is_some_and(|b| is_in(b)),
                |c, _| {
                    claimed
                        .and_then(|d| d.get(c))
                        .is_some_and(|d| may_be_false(d))
                },
            )
        };
        let images: Vec<ImageBoxes> = self.boxes.iter().enumerate().map(restricted).collect();
        let at_half = precision_curve(&images, OVERLAP);
        let none = "no such box must be found";
        InBin {
            from: bounds.0,
            to: bounds.1.is_finite().then_some(bounds.1),
            recall: Share::new(at_half.right, at_half.required, none),
            average_precision: Figure::new(mean_average_precision(&images), at_half.required, none),
        }
    }

    fn by_side(&self) -> Vec<InBin> {
        let of = |&(from, to): &(f64, f64)| {
            let is_in = |b: &[f64; 4]| (from..to).contains(&area_px2(b).sqrt());
            self.bin((from, to), |t| is_in(&t.box_px), |d| is_in(&d.box_px))
        };
        bins(&SIDE_BOUNDS_PX).iter().map(of).collect()
    }

    fn by_visible_share(&self) -> Vec<InBin> {
        let of = |&(from, to): &(f64, f64)| {
            let is_in = |v: f64| from <= v && (v < to || (to >= 1.0 && v <= 1.0));
            self.bin((from, to), |t| t.visible_share.is_some_and(is_in), |_| true)
        };
        bins(&VISIBLE_BOUNDS).iter().map(of).collect()
    }
}

/// The parts of an image that were not labelled.
pub(crate) fn regions_of<'a>(input: &ScoreInput<'a>, frame: &Frame) -> &'a [[f64; 4]] {
    let regions = input.truth.left_out.get(&frame.id);
    regions.map_or(&[], Vec::as_slice)
}

/// Whether enough of an object shows, outside what was not labelled.
pub(crate) fn must_be_found(truth: &TrueBox, regions: &[[f64; 4]]) -> bool {
    let shows = truth.visible_share.is_none_or(|v| v >= LEAST_VISIBLE);
    shows && !lies_in_any(&truth.box_px, regions)
}

fn bins(bounds: &[f64]) -> Vec<(f64, f64)> {
    bounds.windows(2).map(|b| (b[0], b[1])).collect()
}

fn by_true_boxes(
    input: &ScoreInput<'_>,
    judged: &[&Frame],
    wanted: &dyn Fn(Class) -> bool,
) -> KindOfBox {
    let images = Images::of(input, judged, wanted);
    let claims: usize = images.claimed.iter().map(Vec::len).sum();
    let at = overlaps().map(|overlap| (overlap, precision_curve(&images.boxes, overlap)));
    let curve = precision_curve(&images.boxes, OVERLAP);
    let (right, false_ones, required) = (curve.right, curve.false_ones, curve.required);
    let none = "no box of this kind must be found";
    let in_all = required + right + false_ones;
    KindOfBox {
        right,
        false_ones,
        left_out: claims - right - false_ones,
        missed: Some(required - right),
        precision: Share::new(
            right,
            right + false_ones,
            "the detector has no such box to judge",
        ),
        recall: Share::new(right, required, none),
        f1: Figure::ratio(
            2.0 * right as f64,
            in_all as f64,
            in_all - right,
            "neither truth nor detector has such boxes",
        ),
        average_precision: Figure::new(mean_average_precision(&images.boxes), required, none),
        average_precision_at: at
            .into_iter()
            .map(|(overlap, curve)| AtOverlap {
                overlap,
                average_precision: Figure::new(curve.average_precision, required, none),
            })
            .collect(),
        by_side_px: images.by_side(),
        by_visible_share: images.by_visible_share(),
        edges: edges(&images),
    }
}

fn edges(images: &Images<'_>) -> EdgeErrors {
    let mut errors: Vec<[f64; 4]> = Vec::new();
    for ((boxes, truth), claimed) in images.boxes.iter().zip(&images.truth).zip(&images.claimed) {
        for (fate, detection) in boxes.fates(OVERLAP).iter().zip(claimed) {
            let Fate::Right(w) = fate else { continue };
            if let Some(t) = truth.get(*w) {
                errors.push(std::array::from_fn(|i| detection.box_px[i] - t.box_px[i]));
            }
        }
    }
    let n = errors.len();
    let mean = |of: &dyn Fn(&[f64; 4]) -> f64| errors.iter().map(of).sum::<f64>() / n as f64;
    let bias: [f64; 4] = std::array::from_fn(|i| mean(&|e| e[i]));
    let variance = |i: usize| mean(&|e| (e[i] - bias[i]).powi(2)) * n as f64 / (n as f64 - 1.0);
    let size = mean(&|e| e.iter().map(|x| x.abs()).sum::<f64>() / 4.0);
    EdgeErrors {
        n,
        mean_error_px: (n > 0).then_some(size),
        bias_px: (n > 0).then_some(bias),
        deviation_px: (n > 1).then(|| std::array::from_fn(|i| variance(i).sqrt())),
    }
}

/// Precision alone, from what each box is said to show.
fn by_labels(
    input: &ScoreInput<'_>,
    judged: &[&Frame],
    wanted: &dyn Fn(Class) -> bool,
) -> KindOfBox {
    let (mut right, mut false_ones, mut left_out) = (0, 0, 0);
    for frame in judged {
        let labels = input.truth.detections.get(&frame.id);
        let regions = regions_of(input, frame);
        for (k, detection) in frame.detections.iter().enumerate() {
            if !wanted(detection.class) {
                continue;
            }
            match labels.and_then(|l| l.get(k)) {
                Some(Some(_)) if !lies_in_any(&detection.box_px, regions) => right += 1,
                Some(None) if !lies_in_any(&detection.box_px, regions) => false_ones += 1,
                _ => left_out += 1,
            }
        }
    }
    KindOfBox {
        right,
        false_ones,
        left_out,
        missed: None,
        precision: Share::new(
            right,
            right + false_ones,
            "the detector has no such box to judge",
        ),
        recall: Share::undefined(NO_BOXES),
        f1: Figure::new(None, 0, NO_BOXES),
        average_precision: Figure::new(None, 0, NO_BOXES),
        average_precision_at: Vec::new(),
        by_side_px: Vec::new(),
        by_visible_share: Vec::new(),
        edges: EdgeErrors {
            n: 0,
            mean_error_px: None,
            bias_px: None,
            deviation_px: None,
        },
    }
}
