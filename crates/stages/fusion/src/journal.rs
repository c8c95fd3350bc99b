//! What the rounds did, written down as they go: counts of every round, and single events up to a limit.

use crate::bodies::Landmark;
use crate::edge_model::EdgeModel;
use corymb_model::diagnostics::{Event, EventKind, EventReason, Round};
use corymb_model::frames::Point;
use std::collections::BTreeMap;

/// Single events kept; further ones are counted.
const MOST_EVENTS: usize = 2000;

/// An event, with the boxes by which the body is found again at the end.
struct Entry {
    event: Event,
    boxes: Vec<usize>,
}

/// The journal of a fusion.
#[derive(Default)]
pub(crate) struct Journal {
    rounds: Vec<Round>,
    entries: Vec<Entry>,
    not_listed: BTreeMap<EventKind, usize>,
    /// The round under way.
    now: Round,
    /// Boxes found to lie over two bodies: positions in `Observations::boxes`. They are nobody's.
    pub(crate) over_two: Vec<usize>,
}

/// A sum of log likelihoods before and after an event.
pub(crate) type Likelihoods = (Option<f64>, Option<f64>);

impl Journal {
    /// An event of a single body.
    pub(crate) fn note(
        &mut self,
        kind: EventKind,
        reason: EventReason,
        l: &Landmark,
        (before, after): Likelihoods,
    ) {
        if self.entries.len() == MOST_EVENTS {
            self.count(kind, 1);
            return;
        }
        *self.of_round(kind) += 1;
        self.entries.push(Entry {
            event: Event {
                kind,
                round: self.rounds.len(),
                body_idx: None,
                place: Point::from_vector(l.centre()),
                boxes: l.boxes.len(),
                log_likelihood_before: before,
                log_likelihood_after: after,
                reason,
            },
            boxes: l.boxes.clone(),
        });
    }

    /// Events that are not worth a line each.
    pub(crate) fn count(&mut self, kind: EventKind, events: usize) {
        *self.of_round(kind) += events;
        if events > 0 {
            *self.not_listed.entry(kind).or_insert(0) += events;
        }
    }

    fn of_round(&mut self, kind: EventKind) -> &mut usize {
        match kind {
            EventKind::Begun => &mut self.now.begun,
            EventKind::Merged => &mut self.now.merged,
            EventKind::Split => &mut self.now.split,
            EventKind::Dropped => &mut self.now.dropped,
        }
    }

    /// Ends the round under way.
    pub(crate) fn close_round<'a>(
        &mut self,
        landmarks: impl IntoIterator<Item = &'a Landmark>,
        changed_hands: Option<usize>,
        model: &EdgeModel,
    ) {
        let (mut bodies, mut claimed) = (0, 0);
        for l in landmarks {
            bodies += 1;
            claimed += l.boxes.len();
        }
        self.rounds.push(Round {
            bodies,
            claimed,
            changed_hands,
            box_edge_px: model.sigma_px,
            motion_m: model.stir.mean_m(),
            ..std::mem::take(&mut self.now)
        });
    }

    pub(crate) fn rounds(&self) -> Vec<Round> {
        self.rounds.clone()
    }

    pub(crate) fn not_listed(&self) -> BTreeMap<EventKind, usize> {
        self.not_listed.clone()
    }

    /// The events, each with the body that at least half of its boxes ended up with; `of_box` tells whose a box is.
    pub(crate) fn events(&self, of_box: &[Option<usize>]) -> Vec<Event> {
        let found = |e: &Entry| Event {
            body_idx: heir(&e.boxes, of_box).filter(|_| e.event.kind != EventKind::Dropped),
            ..e.event.clone()
        };
        self.entries.iter().map(found).collect()
    }
}

/// The body that has most of these boxes, and at least half; the first of equals.
fn heir(boxes: &[usize], of_box: &[Option<usize>]) -> Option<usize> {
    let mut bodies: Vec<usize> = boxes
        .iter()
        .filter_map(|&i| of_box.get(i).copied().flatten())
        .collect();
    bodies.sort_unstable();
    let groups = bodies.chunk_by(|a, b| a == b);
    let most = groups.max_by(|a, b| a.len().cmp(&b.len()).then(b[0].cmp(&a[0])))?;
    (2 * most.len() >= boxes.len()).then_some(most[0])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge_model::Stir;
    use nalgebra::{Matrix4, Vector4};

    fn body(boxes: Vec<usize>) -> Landmark {
        Landmark {
            boxes,
            x: Vector4::new(0.0, 0.0, 1.0, 0.01),
            cov: Matrix4::identity(),
            depth: None,
            missed: 0,
            otherwise: 0.0,
        }
    }

    const MODEL: EdgeModel = EdgeModel {
        sigma_px: 1.5,
        occluded: 0.1,
        stir: Stir::alike(0.002),
    };

    #[test]
    fn rounds_count_everything_and_events_stop_at_the_limit() {
        let mut journal = Journal::default();
        let l = body(vec![0, 1]);
        journal.count(EventKind::Begun, 3);
        journal.close_round([&l], None, &MODEL);
        for _ in 0..MOST_EVENTS + 5 {
            let likelihoods = (Some(-1.0), None);
            journal.note(
                EventKind::Dropped,
                EventReason::OverlapsAnother,
                &l,
                likelihoods,
            );
        }
        journal.close_round(&[], Some(7), &MODEL);
        let rounds = journal.rounds();
        assert_eq!(
            (rounds[0].begun, rounds[0].bodies, rounds[0].claimed),
            (3, 1, 2)
        );
        assert_eq!(
            (rounds[1].dropped, rounds[1].changed_hands),
            (MOST_EVENTS + 5, Some(7))
        );
        let events = journal.events(&[]);
        assert_eq!((events.len(), events[0].round), (MOST_EVENTS, 1));
        assert_eq!(journal.not_listed()[&EventKind::Dropped], 5);
        assert_eq!(journal.not_listed()[&EventKind::Begun], 3);
    }

    #[test]
    fn an_event_follows_most_of_its_boxes() {
        let of_box = [Some(4), Some(2), Some(4), None, None, None];
        assert_eq!(heir(&[0, 1, 2], &of_box), Some(4));
        assert_eq!(heir(&[0, 1], &of_box), Some(2), "the first of equals");
        assert_eq!(heir(&[0, 3, 4, 5], &of_box), None, "fewer than half");
        assert_eq!(heir(&[], &of_box), None);
    }
}
