//! The account of a fusion: from what the rounds left to [`Diagnostics`].

mod fates;
mod residuals;
mod spread;
mod times;

use crate::bodies::Landmark;
use crate::fuse::Work;
use corymb_model::diagnostics::{Diagnostics, EventKind, EventReason};
use corymb_model::run::BoxRef;
use corymb_model::scene::Scene;

/// The account of `work`, whose bodies became `scene`; `changed_hands` of the round that ends with it. O(boxes).
pub(crate) fn diagnose(
    work: &mut Work<'_>,
    landmarks: &[Landmark],
    scene: &Scene,
    changed_hands: Option<usize>,
) -> Diagnostics {
    let of_box = owners(work, scene);
    let in_scene = |l: &Landmark| l.boxes.first().is_some_and(|&i| of_box[i].is_some());
    for l in landmarks.iter().filter(|l| !in_scene(l)) {
        let before = Some(work.score(l));
        let (kind, reason) = (EventKind::Dropped, EventReason::ExistenceTooLow);
        work.journal.note(kind, reason, l, (before, None));
    }
    let kept: Vec<&Landmark> = landmarks.iter().filter(|l| in_scene(l)).collect();
    let model = work.evidence.model;
    let in_last = kept.iter().copied();
    work.journal.close_round(in_last, changed_hands, &model);
    let fates = fates::fates(work, landmarks, scene);
    Diagnostics {
        cameras: residuals::of_cameras(work, &kept),
        times: times::reports(work, &kept, &fates),
        rounds: work.journal.rounds(),
        events: work.journal.events(&of_box),
        events_not_listed: work.journal.not_listed(),
        boxes: fates::counts(work, &fates),
    }
}

/// For each box the body of the scene that explains it.
fn owners(work: &Work<'_>, scene: &Scene) -> Vec<Option<usize>> {
    let mut of_box = vec![None; work.obs.boxes.len()];
    for (k, body) in scene.bodies.iter().enumerate() {
        for at in body.boxes.iter().filter_map(|b| position(work, *b)) {
            of_box[at] = Some(k);
        }
    }
    of_box
}

/// Position of a box in `Observations::boxes`.
fn position(work: &Work<'_>, at: BoxRef) -> Option<usize> {
    let range = work.obs.of_frame(at.frame_idx as usize);
    let of_frame = &work.obs.boxes[range.clone()];
    let found = of_frame.binary_search_by_key(&(at.detection_idx as usize), |b| b.det);
    found.ok().map(|k| range.start + k)
}
