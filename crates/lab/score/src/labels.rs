//! What the truth says of each box, and how often each true fruitlet was seen.

use corymb_model::run::{BoxRef, Class, Run};
use corymb_model::truth::Truth;
use std::collections::BTreeSet;

/// Images that must show a fruitlet before it is expected in the map: one image leaves its place open.
pub const LEAST_IMAGES: usize = 2;

/// What a box shows by the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Label {
    /// The truth is silent about this box; it is left out of every count.
    Unlabelled,
    /// Nothing: a false positive.
    Nothing,
    /// A true fruitlet, by position in `Truth::fruitlets`.
    Shows(usize),
}

/// The labels of a run.
pub(crate) struct Labels<'a> {
    run: &'a Run,
    of_frame: Vec<Vec<Label>>,
    /// Images in which a body box shows each true fruitlet.
    pub(crate) images: Vec<usize>,
    /// Images without any labels.
    pub(crate) frames_without_labels: usize,
    /// Images whose labels are more or fewer than their boxes.
    pub(crate) frames_with_other_count: usize,
}

impl<'a> Labels<'a> {
    /// Reads the labels. O(boxes log boxes).
    pub(crate) fn of(run: &'a Run, truth: &Truth) -> Self {
        let fruit = truth.fruitlets.len();
        let mut labels = Self {
            run,
            of_frame: Vec::with_capacity(run.frames.len()),
            images: vec![0; fruit],
            frames_without_labels: 0,
            frames_with_other_count: 0,
        };
        for frame in &run.frames {
            let given = truth.detections.get(&frame.id);
            labels.frames_without_labels += usize::from(given.is_none());
            labels.frames_with_other_count +=
                usize::from(given.is_some_and(|g| g.len() != frame.detections.len()));
            let label = |k: usize| match given.and_then(|g| g.get(k)) {
                None => Label::Unlabelled,
                Some(None) => Label::Nothing,
                Some(Some(g)) if *g < fruit => Label::Shows(*g),
                Some(Some(_)) => Label::Unlabelled,
            };
            let here: Vec<Label> = (0..frame.detections.len()).map(label).collect();
            let mut seen = BTreeSet::new();
            for (detection, &label) in frame.detections.iter().zip(&here) {
                if let (true, Label::Shows(g)) = (detection.class.is_body(), label) {
                    seen.insert(g);
                }
            }
            for g in seen {
                if let Some(n) = labels.images.get_mut(g) {
                    *n += 1;
                }
            }
            labels.of_frame.push(here);
        }
        labels
    }

    /// The label of a box; a box that is not in the run has none.
    pub(crate) fn label(&self, at: BoxRef) -> Label {
        let here = self.of_frame.get(at.frame_idx as usize);
        here.and_then(|f| f.get(at.detection_idx as usize))
            .copied()
            .unwrap_or(Label::Unlabelled)
    }

    /// Whether a true fruitlet was seen often enough to be expected.
    pub(crate) fn considered(&self, truth_idx: usize) -> bool {
        self.images
            .get(truth_idx)
            .is_some_and(|&n| n >= LEAST_IMAGES)
    }

    /// Every labelled box of the wanted classes whose fruitlet (if it shows one) is considered, in the order of the run.
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

/// A box with its true identity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct LabelledBox {
    /// Which box.
    pub(crate) at: BoxRef,
    /// The true fruitlet, or `None` for a false positive.
    pub(crate) shows: Option<usize>,
}
