//! Fusion of boxes whose identity is given: no association, the same refinement.

use crate::bodies::{Landmark, fit};
use crate::config::Config;
use crate::diagnose::diagnose;
use crate::fuse::{FINAL_STEPS, ROUND_STEPS, Work};
use crate::output::scene;
use crate::settle::refit;
use corymb_model::run::Run;
use corymb_model::scene::Scene;
use nalgebra::{Matrix4, Vector4};
use std::collections::BTreeMap;

/// Rounds of refinement and learning of noise: nothing changes hands, so few do.
const KNOWN_ROUNDS: usize = 3;

/// Fuses boxes that somebody has already gathered into bodies (by hand, by marks on the fruit): `identity` tells of
/// each body box, by image and detection, which body it shows, by any number; `None` leaves the box out.
///
/// Poses, mounting, noise and bodies are estimated together as in [`crate::fuse`], so the outcome is what the boxes can tell
/// at best; stems and calyx ends are still found by the method. A body needs boxes of two images. Of several boxes of
/// one body in an image the one of the highest score counts, the others are its duplicates. Boxes without an entry are
/// left out. O(boxes) a round.
#[must_use]
pub fn fuse_known(run: &Run, identity: &[Vec<Option<usize>>], config: &Config) -> Scene {
    let mut work = Work::new(run, config);
    let gathered = gather(&work, identity);
    let mut landmarks = Vec::new();
    for body in gathered.into_values() {
        if let Some(landmark) = begin(&work, body.boxes) {
            landmarks.push(landmark);
            work.duplicates.push(body.duplicates);
        }
    }
    for _ in 0..KNOWN_ROUNDS {
        work.refine(&mut landmarks, ROUND_STEPS);
        work.learn(&landmarks);
        let ev = work.evidence;
        ev.sway
            .set(&mut work.obs, &work.stand, &landmarks, &ev.model);
        refit(&work.obs, &work.stand, &mut landmarks, &work.evidence);
    }
    work.refine(&mut landmarks, FINAL_STEPS);
    refit(&work.obs, &work.stand, &mut landmarks, &work.evidence);
    let mut scene = scene(&work, &landmarks);
    scene.diagnostics = diagnose(&mut work, &landmarks, &scene, None);
    crate::parts::attach_parts(run, &mut scene, &config.parts);
    scene
}

/// The boxes of a body, by position in `Observations::boxes`.
#[derive(Default)]
struct Gathered {
    boxes: Vec<usize>,
    duplicates: Vec<usize>,
}

fn gather(work: &Work<'_>, identity: &[Vec<Option<usize>>]) -> BTreeMap<usize, Gathered> {
    let mut bodies = BTreeMap::<usize, Gathered>::new();
    for (i, b) in work.obs.boxes.iter().enumerate() {
        let given = identity.get(b.frame).and_then(|of| of.get(b.det)).copied();
        let (Some(body), Some(_)) = (given.flatten(), work.stand.node_of[b.frame]) else {
            continue;
        };
        let body = bodies.entry(body).or_default();
        let before = body
            .boxes
            .pop_if(|&mut k| work.obs.boxes[k].frame == b.frame);
        let (kept, other) = match before {
            Some(k) if score(work, k) >= score(work, i) => (k, Some(i)),
            _ => (i, before),
        };
        body.boxes.push(kept);
        body.duplicates.extend(other);
    }
    bodies
}

fn score(work: &Work<'_>, box_idx: usize) -> f64 {
    let b = &work.obs.boxes[box_idx];
    work.run.frames[b.frame].detections[b.det].score
}

fn begin(work: &Work<'_>, boxes: Vec<usize>) -> Option<Landmark> {
    if boxes.len() < 2 {
        return None;
    }
    let mut landmark = Landmark {
        boxes,
        x: Vector4::zeros(),
        cov: Matrix4::zeros(),
        depth: None,
        missed: 0,
        otherwise: 0.0,
    };
    let start = fit(
        &work.obs.boxes,
        &landmark.boxes,
        &work.stand.placed,
        &work.evidence.prior,
        None,
        &work.evidence.model,
        None,
    )?;
    landmark.x = start.x;
    landmark.cov = start.cov;
    Some(landmark)
}
