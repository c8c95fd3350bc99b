//! Bodies that are one: they overlap in space, where two fruit cannot, and their boxes are better explained together.

use crate::bodies::{Landmark, fit};
use crate::discover::{OVERLAP_SHARE, score_of};
use crate::journal::Journal;
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::settle::Evidence;
use corymb_model::diagnostics::{EventKind, EventReason};
use kiddo::{ImmutableKdTree, SquaredEuclidean};

/// Merges overlapping bodies; the loser's boxes are released where they do not fit. Returns how many went.
pub(crate) fn merge(
    obs: &Observations,
    stand: &Stand,
    landmarks: &mut Vec<Landmark>,
    ev: &Evidence,
    journal: &mut Journal,
) -> usize {
    let points: Vec<[f64; 3]> = landmarks.iter().map(|l| l.centre().into()).collect();
    let Ok(tree) = ImmutableKdTree::<f64, 3>::new_from_slice(&points) else {
        return 0;
    };
    let widest = landmarks.iter().map(Landmark::radius).fold(0.0, f64::max);
    let mut gone = vec![false; landmarks.len()];
    for a in 0..landmarks.len() {
        let reach = OVERLAP_SHARE * (landmarks[a].radius() + widest);
        let mut near: Vec<usize> = tree
            .query(&points[a])
            .within::<SquaredEuclidean<f64>>(reach * reach)
            .execute()
            .iter()
            .map(|h| h.item as usize)
            .filter(|&b| b > a)
            .collect();
        near.sort_unstable();
        for b in near {
            if gone[a] || gone[b] || !overlap(&landmarks[a], &landmarks[b]) {
                continue;
            }
            let winner = join(obs, stand, &landmarks[a], &landmarks[b], ev);
            let (keep, drop) = if landmarks[a].boxes.len() >= landmarks[b].boxes.len() {
                (a, b)
            } else {
                (b, a)
            };
            let score = |l: &Landmark| score_of(obs, stand, l, ev);
            let of_drop = score(&landmarks[drop]);
            if let Some(joined) = winner {
                let likelihoods = (
                    Some(score(&landmarks[keep]) + of_drop),
                    Some(score(&joined)),
                );
                let (kind, reason) = (EventKind::Merged, EventReason::BetterTogether);
                journal.note(kind, reason, &joined, likelihoods);
                landmarks[keep] = joined;
                gone[drop] = true;
            } else if of_drop < 0.0 {
                let (kind, reason) = (EventKind::Dropped, EventReason::OverlapsAnother);
                journal.note(kind, reason, &landmarks[drop], (Some(of_drop), None));
                gone[drop] = true;
            }
        }
    }
    let before = landmarks.len();
    let mut k = 0;
    landmarks.retain(|_| {
        k += 1;
        !gone[k - 1]
    });
    before - landmarks.len()
}

fn overlap(a: &Landmark, b: &Landmark) -> bool {
    !a.boxes.is_empty()
        && !b.boxes.is_empty()
        && (a.centre() - b.centre()).norm() < OVERLAP_SHARE * (a.radius() + b.radius())
}

/// The joined body, where it explains more than the two apart. In images with two boxes the better one stays.
fn join(
    obs: &Observations,
    stand: &Stand,
    a: &Landmark,
    b: &Landmark,
    ev: &Evidence,
) -> Option<Landmark> {
    let mut l = if a.boxes.len() >= b.boxes.len() {
        a.clone()
    } else {
        b.clone()
    };
    let other = if a.boxes.len() >= b.boxes.len() { b } else { a };
    let frames: Vec<usize> = l.boxes.iter().map(|&i| obs.boxes[i].frame).collect();
    l.boxes.extend(
        other
            .boxes
            .iter()
            .filter(|&&i| !frames.contains(&obs.boxes[i].frame)),
    );
    l.boxes.sort_unstable();
    l.missed = a.missed.min(b.missed);
    l.otherwise = a.otherwise.min(b.otherwise);
    let f = fit(
        &obs.boxes,
        &l.boxes,
        &stand.placed,
        &ev.prior,
        l.depth.as_ref(),
        &ev.model,
        Some(l.x),
    )?;
    l.x = f.x;
    l.cov = f.cov;
    let apart = score_of(obs, stand, a, ev) + score_of(obs, stand, b, ev);
    (score_of(obs, stand, &l, ev) > apart).then_some(l)
}
