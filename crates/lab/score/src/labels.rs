//! What the truth says of each box of the detector, and how often each true object was seen.
//!
//! Where an image has labels of its detections, they hold. Where it has only true boxes, labels follow from overlap:
//! bodies are paired with bodies, stems with stems and calyx ends with calyx ends, one to one, at an overlap of at least
//! 0.5, so that the total overlap is greatest; a detection without a partner shows nothing. (So a second box around the
//! same fruit is a false positive here; labels of detections may say that it shows the fruit too.) What lies in a
//! left-out region is not labelled, in either case, and neither is what shows something that nobody named.

use crate::overlap::{lies_in_any, overlap};
use crate::pairing::best_pairs;
use corymb_model::run::{BoxRef, Class, Detection, Frame, Run};
use corymb_model::truth::{TrueBox, Truth};
use std::collections::{BTreeMap, BTreeSet};

/// Images that must show a fruitlet before it is expected in the map: one image leaves its place open.
pub const LEAST_IMAGES: usize = 2;
/// Least overlap of a detection and the true box that it is held to show, as for average precision.
const LEAST_OVERLAP: f64 = 0.5;

/// What a box shows by the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Label {
    /// The truth is silent about this box; it is left out of every count.
    Unlabelled,
    /// Nothing: a false positive.
    Nothing,
    /// A true object, by its number in the truth.
    Shows(usize),
}

/// The labels of a run.
pub(crate) struct Labels<'a> {
    run: &'a Run,
    of_frame: Vec<Vec<Label>>,
    /// Whether each image has labels at all.
    is_labelled: Vec<bool>,
    /// Whether every true object with a place is expected, because nobody said which images show it.
    places_alone: bool,
    /// Objects with a place; they come first.
    placed: usize,
    /// Images in which a body box shows each true object.
    pub(crate) images: Vec<usize>,
    /// Images whose labels follow from true boxes.
    pub(crate) frames_by_boxes: usize,
    /// Images without any labels.
    pub(crate) frames_without_labels: usize,
    /// Images whose labels are more or fewer than their boxes.
    pub(crate) frames_with_other_count: usize,
    /// Why there is nothing to say about identities, where that is so.
    pub(crate) no_identities: Option<&'static str>,
}

const NO_LABELS: &str = "the truth labels no image of the run";
const NO_NAMES: &str = "the true boxes do not say which object they show";

impl<'a> Labels<'a> {
    /// Reads the labels. O(boxes log boxes), and in images labelled by true boxes detections times true boxes.
    pub(crate) fn of(run: &'a Run, truth: &Truth) -> Self {
        let mut labels = Self {
            run,
            of_frame: Vec::with_capacity(run.frames.len()),
            is_labelled: Vec::with_capacity(run.frames.len()),
            places_alone: truth.detections.is_empty() && truth.boxes.is_empty(),
            placed: truth.fruitlets.len(),
            images: vec![0; truth.objects()],
            frames_by_boxes: 0,
            frames_without_labels: 0,
            frames_with_other_count: 0,
            no_identities: None,
        };
        for frame in &run.frames {
            labels.add(frame, truth);
        }
        labels.no_identities = labels.why_no_identities(truth);
        labels
    }

    fn add(&mut self, frame: &Frame, truth: &Truth) {
        let regions = truth.left_out.get(&frame.id).map_or(&[][..], Vec::as_slice);
        let given = truth.detections.get(&frame.id);
        let boxes = truth.boxes.get(&frame.id);
        let mut here = match (given, boxes) {
            (Some(given), _) => as_given(given, frame, truth.objects()),
            (None, Some(boxes)) => by_overlap(boxes, frame, regions, truth.objects()),
            (None, None) => vec![Label::Unlabelled; frame.detections.len()],
        };
        for (detection, label) in frame.detections.iter().zip(&mut here) {
            if lies_in_any(&detection.box_px, regions) {
                *label = Label::Unlabelled;
            }
        }
        let other_count = given.is_some_and(|g| g.len() != frame.detections.len());
        self.frames_with_other_count += usize::from(other_count);
        self.frames_without_labels += usize::from(given.is_none() && boxes.is_none());
        self.frames_by_boxes += usize::from(given.is_none() && boxes.is_some());
        let bodies = frame.detections.iter().zip(&here);
        let seen: BTreeSet<usize> = bodies
            .filter_map(|(detection, &label)| match label {
                Label::Shows(g) if detection.class.is_body() => Some(g),
                _ => None,
            })
            .collect();
        for g in seen {
            if let Some(n) = self.images.get_mut(g) {
                *n += 1;
            }
        }
        self.is_labelled.push(given.is_some() || boxes.is_some());
        self.of_frame.push(here);
    }

    fn why_no_identities(&self, truth: &Truth) -> Option<&'static str> {
        if !self.is_labelled.contains(&true) {
            return Some(NO_LABELS);
        }
        let mut boxes = truth.boxes.values().flatten().peekable();
        let nameless = boxes.peek().is_some() && boxes.all(|b| b.object.is_none());
        let labels = self.of_frame.iter().flatten();
        let named = labels.filter(|l| matches!(l, Label::Shows(_))).count();
        (nameless && named == 0).then_some(NO_NAMES)
    }

    /// Whether an image has labels, if only of a part of it.
    pub(crate) fn is_labelled(&self, frame_idx: usize) -> bool {
        self.is_labelled.get(frame_idx).copied().unwrap_or(false)
    }

    /// The label of a box; a box that is not in the run has none.
    pub(crate) fn label(&self, at: BoxRef) -> Label {
        let here = self.of_frame.get(at.frame_idx as usize);
        here.and_then(|f| f.get(at.detection_idx as usize))
            .copied()
            .unwrap_or(Label::Unlabelled)
    }

    /// Whether a true object was seen often enough to be expected. Where the truth only states places, every object with
    /// a place is.
    pub(crate) fn considered(&self, object: usize) -> bool {
        let seen = self.images.get(object).is_some_and(|&n| n >= LEAST_IMAGES);
        seen || (self.places_alone && object < self.placed)
    }

    /// Whether the truth only states places, so that they alone judge.
    pub(crate) fn places_alone(&self) -> bool {
        self.places_alone
    }

    /// Every labelled box of the wanted classes whose object (if it shows one) is considered, in the order of the run.
    pub(crate) fn boxes(&self, wanted: impl Fn(Class) -> bool) -> Vec<LabelledBox> {
        let mut boxes = Vec::new();
        for (f, (frame, labels)) in self.run.frames.iter().zip(&self.of_frame).enumerate() {
            for (d, (detection, &label)) in frame.detections.iter().zip(labels).enumerate() {
                let shows = match label {
                    Label::Unlabelled => continue,
                    Label::Nothing => None,
                    Label::Shows(g) if self.considered(g) => Some(g),
                    Label::Shows(_) => continue,
                };
                let (Ok(frame_idx), Ok(detection_idx)) = (u32::try_from(f), u32::try_from(d))
                else {
                    continue;
                };
                if wanted(detection.class) {
                    boxes.push(LabelledBox {
                        at: BoxRef {
                            frame_idx,
                            detection_idx,
                        },
                        shows,
                    });
                }
            }
        }
        boxes
    }
}

/// The labels that the truth gives; a detection beyond them has none.
fn as_given(given: &[Option<usize>], frame: &Frame, objects: usize) -> Vec<Label> {
    let label = |k: usize| match given.get(k) {
        Some(None) => Label::Nothing,
        Some(Some(g)) if *g < objects => Label::Shows(*g),
        Some(Some(_)) | None => Label::Unlabelled,
    };
    (0..frame.detections.len()).map(label).collect()
}

/// Labels from true boxes. A detection whose partner lies in a left-out region is not labelled.
fn by_overlap(
    boxes: &[TrueBox],
    frame: &Frame,
    regions: &[[f64; 4]],
    objects: usize,
) -> Vec<Label> {
    let partner = pairs_by_overlap(boxes, &frame.detections);
    let label = |k: usize| match partner.get(&k).and_then(|&t| boxes.get(t)) {
        None => Label::Nothing,
        Some(b) if lies_in_any(&b.box_px, regions) => Label::Unlabelled,
        Some(b) => match b.object.filter(|&g| g < objects) {
            Some(g) => Label::Shows(g),
            None => Label::Unlabelled,
        },
    };
    (0..frame.detections.len()).map(label).collect()
}

/// True box of each detection that has one.
fn pairs_by_overlap(boxes: &[TrueBox], detections: &[Detection]) -> BTreeMap<usize, usize> {
    let mut edges = Vec::new();
    for (k, detection) in detections.iter().enumerate() {
        let same_kind = |(_, b): &(usize, &TrueBox)| are_of_one_kind(b.class, detection.class);
        for (t, b) in boxes.iter().enumerate().filter(same_kind) {
            let overlap = overlap(&b.box_px, &detection.box_px);
            if overlap >= LEAST_OVERLAP {
                edges.push((k, t, -overlap));
            }
        }
    }
    best_pairs(&edges).into_iter().collect()
}

fn are_of_one_kind(a: Class, b: Class) -> bool {
    match (a, b) {
        (Class::Stem, Class::Stem) | (Class::Calyx, Class::Calyx) => true,
        _ => a.is_body() && b.is_body(),
    }
}

/// A box with its true identity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct LabelledBox {
    /// Which box.
    pub(crate) at: BoxRef,
    /// The true object, or `None` for a false positive.
    pub(crate) shows: Option<usize>,
}
