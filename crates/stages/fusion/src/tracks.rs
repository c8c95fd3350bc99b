//! A detector's own tracks as hints: two boxes of one track show one body as often as geometry finds it so.
//!
//! A box whose track has gone with a body so far gains `ln(p / (1 - p))` towards it, with p the share of boxes that lie
//! where most of the others of their track do. It is learned once, from what geometry alone has put together; tracks
//! that agree with it less than half of the time say nothing.

use crate::bodies::Landmark;
use corymb_model::run::{BoxRef, Run};
use std::collections::BTreeMap;

/// Most that a hint counts, log odds: a switch must not outweigh what is seen.
const MOST: f64 = 3.0;
/// Boxes from which the share is believed.
const FEWEST: usize = 50;

/// The tracks of a run.
#[derive(Debug, Default)]
pub(crate) struct Tracks {
    /// Track of each of `Observations::boxes`; empty where there are none.
    of_box: Vec<Option<usize>>,
    /// The body that each track goes with.
    owner: Vec<Option<usize>>,
    /// Log odds that a box lies with its track.
    odds: f64,
}

impl Tracks {
    /// `boxes`: images and detections in the order of `Observations::boxes`.
    pub(crate) fn new(run: &Run, boxes: impl Iterator<Item = (usize, usize)>) -> Self {
        let mut names = BTreeMap::<(usize, &str), usize>::new();
        let track_of = |(frame, det): (usize, usize)| {
            let at = BoxRef {
                frame_idx: frame as u32,
                detection_idx: det as u32,
            };
            let name = run.detection(at)?.track.as_deref()?;
            let next = names.len();
            let key = (run.frames.get(frame)?.camera_idx, name);
            Some(*names.entry(key).or_insert(next))
        };
        let of_box: Vec<Option<usize>> = boxes.map(track_of).collect();
        Self {
            owner: vec![None; names.len()],
            of_box: if names.is_empty() { Vec::new() } else { of_box },
            odds: 0.0,
        }
    }

    /// Learns how far tracks are right. O(boxes log boxes).
    pub(crate) fn learn(&mut self, landmarks: &[Landmark]) {
        let mut of_track = self.bodies(landmarks);
        let (mut with, mut all) = (0, 0);
        for bodies in &mut of_track {
            bodies.sort_unstable();
            let total = bodies.len();
            for same in bodies.chunk_by(|a, b| a == b).filter(|_| total > 2) {
                all += same.len();
                // those that lie with most of the others
                if 2 * (same.len() - 1) > total - 1 {
                    with += same.len();
                }
            }
        }
        if all >= FEWEST {
            let right = (with as f64 / all as f64).min(0.999);
            self.odds = (right / (1.0 - right).max(1e-3)).ln().clamp(0.0, MOST);
        }
    }

    /// Lets every track go with the body that has most of its boxes now; the first of equals.
    pub(crate) fn follow(&mut self, landmarks: &[Landmark]) {
        if self.odds <= 0.0 {
            return;
        }
        let of_track = self.bodies(landmarks);
        for (owner, mut bodies) in self.owner.iter_mut().zip(of_track) {
            bodies.sort_unstable();
            let groups = bodies.chunk_by(|a, b| a == b);
            let most = groups.max_by(|a, b| a.len().cmp(&b.len()).then(b[0].cmp(&a[0])));
            *owner = most.filter(|m| m.len() > 2).map(|m| m[0]);
        }
    }

    /// For each track the bodies of its boxes, one entry a box.
    fn bodies(&self, landmarks: &[Landmark]) -> Vec<Vec<usize>> {
        let mut of_track = vec![Vec::new(); self.owner.len()];
        if !self.of_box.is_empty() {
            for (k, l) in landmarks.iter().enumerate() {
                for track in l.boxes.iter().filter_map(|&i| self.of_box[i]) {
                    of_track[track].push(k);
                }
            }
        }
        of_track
    }

    /// Log odds that a box gains towards a body.
    pub(crate) fn hint(&self, box_idx: usize, body: usize) -> f64 {
        let track = self.of_box.get(box_idx).copied().flatten();
        match track.and_then(|t| self.owner[t]) {
            Some(owner) if owner == body => self.odds,
            _ => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
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

    /// Bodies of ten boxes each; box i carries track `track_of(i)`.
    fn learned(track_of: impl Fn(usize) -> usize) -> (Tracks, Vec<Landmark>) {
        let landmarks: Vec<Landmark> = (0..20)
            .map(|k| body((10 * k..10 * k + 10).collect()))
            .collect();
        let of_box: Vec<Option<usize>> = (0..200).map(|i| Some(track_of(i))).collect();
        let tracks = 1 + of_box.iter().flatten().max().unwrap();
        let mut tracks = Tracks {
            of_box,
            owner: vec![None; tracks],
            odds: 0.0,
        };
        tracks.learn(&landmarks);
        tracks.follow(&landmarks);
        (tracks, landmarks)
    }

    #[test]
    fn tracks_that_agree_are_followed_and_others_are_not() {
        let (right, _) = learned(|i| i / 10);
        assert_eq!(right.hint(13, 1), MOST);
        assert_eq!(right.hint(13, 2), 0.0);
        let (scattered, _) = learned(|i| i % 20);
        assert_eq!(scattered.hint(13, 1), 0.0);
        // a switch halfway: two boxes of each body go with the next
        let (mixed, _) = learned(|i| {
            if i % 10 < 8 {
                i / 10
            } else {
                (i / 10 + 1) % 20
            }
        });
        let odds = (0.8_f64 / 0.2).ln();
        assert!((mixed.hint(13, 1) - odds).abs() < 1e-9);
        assert!((mixed.hint(18, 2) - odds).abs() < 1e-9, "a hint only");
    }

    #[test]
    fn without_tracks_there_is_no_hint() {
        let mut none = Tracks::default();
        let landmarks = [body(vec![0, 1, 2])];
        none.learn(&landmarks);
        none.follow(&landmarks);
        assert_eq!(none.hint(0, 0), 0.0);
    }
}
