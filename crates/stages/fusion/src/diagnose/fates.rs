//! What became of every body box.

use super::position;
use crate::bodies::Landmark;
use crate::fuse::Work;
use corymb_model::diagnostics::{BoxCounts, BoxFate};
use corymb_model::run::Class;
use corymb_model::scene::Scene;
use std::collections::BTreeMap;

/// Counts a camera and class; `fates` are those of `Observations::boxes`.
pub(super) fn counts(work: &Work<'_>, fates: &[BoxFate]) -> Vec<BoxCounts> {
    let mut of = BTreeMap::<(usize, Class), BTreeMap<BoxFate, usize>>::new();
    for (frame_idx, frame) in work.run.frames.iter().enumerate() {
        let posed = work.stand.node_of[frame_idx].is_some();
        let mut usable = work.obs.of_frame(frame_idx).peekable();
        for (det, d) in frame.detections.iter().enumerate() {
            if !d.class.is_body() {
                continue;
            }
            let at = usable.next_if(|&i| work.obs.boxes[i].det == det);
            let fate = match at {
                _ if !posed => BoxFate::LeftOut,
                None => BoxFate::Unusable,
                Some(i) => fates[i],
            };
            let counts = of.entry((frame.camera_idx, d.class)).or_default();
            *counts.entry(fate).or_insert(0) += 1;
        }
    }
    let told = |((camera_idx, class), fates)| BoxCounts {
        camera_idx,
        class,
        fates,
    };
    of.into_iter().map(told).collect()
}

/// The fate of each of `Observations::boxes` as if its image had a pose. Where two could be told, the later one holds.
pub(super) fn fates(work: &Work<'_>, landmarks: &[Landmark], scene: &Scene) -> Vec<BoxFate> {
    let mut fates = vec![BoxFate::Unclaimed; work.obs.boxes.len()];
    for &i in &work.journal.over_two {
        fates[i] = BoxFate::Merged;
    }
    for (k, l) in landmarks.iter().enumerate() {
        let duplicates = work.duplicates.get(k).map_or(&[][..], Vec::as_slice);
        for &i in l.boxes.iter().chain(duplicates) {
            fates[i] = BoxFate::OfDropped;
        }
    }
    for body in &scene.bodies {
        for i in body
            .duplicate_boxes
            .iter()
            .filter_map(|b| position(work, *b))
        {
            fates[i] = BoxFate::Duplicate;
        }
        for i in body.boxes.iter().filter_map(|b| position(work, *b)) {
            let whole = work.obs.boxes[i].usable.iter().all(|u| *u);
            fates[i] = if whole {
                BoxFate::Explained
            } else {
                BoxFate::Cut
            };
        }
    }
    fates
}
