//! New association of all boxes against the finished map: releases boxes that no longer fit, counts what was missed.

use crate::associate::{Candidate, best_assignment};
use crate::bodies::{Landmark, Prior, box_log_density, fit, radius_px};
use crate::edge_model::EdgeModel;
use crate::grid::Grid;
use crate::nodes::Stand;
use crate::observe::{BoxObs, Observations};
use crate::predict::Seen;
use nalgebra::{Matrix4, Vector3, Vector4};
use rayon::prelude::*;

/// Likelihood terms shared by association, discovery and existence.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Evidence {
    pub(crate) model: EdgeModel,
    pub(crate) prior: Prior,
    /// Chance that a body in plain view is detected, over all bodies.
    pub(crate) detection: f64,
    /// Mean number of boxes an image that no body explains.
    pub(crate) clutter_per_image: f64,
}

impl Evidence {
    /// Log density of a box as clutter, per pixel of each used edge: anywhere in the image, of any size up to twice
    /// the body's.
    pub(crate) fn clutter_log(
        &self,
        obs: &Observations,
        camera: usize,
        b: &BoxObs,
        s: &Seen,
        used: usize,
    ) -> f64 {
        let lens = &obs.lenses[camera];
        let area = lens.width_px() * lens.height_px();
        let size = 2.0 * radius_px(b, s.distance_m, s.radius_m).max(1.0);
        let all = self.clutter_per_image.max(0.05) / (area * size * size);
        all.ln() * used as f64 / 4.0
    }

    /// Log likelihood of a box as this body over the box as clutter, without the detection probability.
    pub(crate) fn gain(&self, obs: &Observations, camera: usize, b: &BoxObs, s: &Seen) -> f64 {
        let (log, used) = box_log_density(b, &s.c, s.radius_m, &self.model, |n| {
            edge_variance(n, &s.cov)
        });
        if used == 0 {
            return f64::NEG_INFINITY;
        }
        log - self.clutter_log(obs, camera, b, s, used)
    }
}

fn edge_variance(n: &Vector3<f64>, cov: &Matrix4<f64>) -> f64 {
    let row = Vector4::new(n.x, n.y, n.z, -1.0);
    row.dot(&(cov * row)).max(0.0)
}

/// Detection rate of one body: what it showed so far, drawn towards the rate over all.
pub(crate) fn own_rate(seen: usize, missed: usize, overall: f64) -> f64 {
    const PRIOR_VIEWS: f64 = 4.0;
    ((seen as f64 + PRIOR_VIEWS * overall) / ((seen + missed) as f64 + PRIOR_VIEWS))
        .clamp(0.05, 0.98)
}

/// Which images a body could be seen in: its middle inside the image by one radius.
pub(crate) fn visible(
    obs: &Observations,
    stand: &Stand,
    l: &Landmark,
    frame: usize,
) -> Option<Seen> {
    stand.node_of[frame]?;
    let quick = stand.placed[frame].into_camera(&l.centre());
    let lens = &obs.lenses[stand.camera_of[frame]];
    let reach = 0.75 * lens.width_px().max(lens.height_px()) / lens.mean_focal_px();
    if quick.z < 0.05 || quick.x.abs() > quick.z * reach || quick.y.abs() > quick.z * reach {
        return None;
    }
    Seen::new(l, &stand.placed[frame])
}

/// What one image came to: (body, box) pairs, and the bodies that it should have shown and did not.
struct Settled {
    pairs: Vec<(usize, usize)>,
    missed: Vec<usize>,
}

/// Assigns all boxes anew. Bodies keep their states; their box lists and missed counts are rewritten.
pub(crate) fn settle(
    obs: &Observations,
    grids: &[Grid],
    stand: &Stand,
    landmarks: &mut [Landmark],
    ev: &Evidence,
) {
    let shared: &[Landmark] = landmarks;
    let per_frame: Vec<Settled> = (0..grids.len())
        .into_par_iter()
        .map(|f| settle_image(obs, &grids[f], stand, shared, ev, f))
        .collect();
    for l in landmarks.iter_mut() {
        l.boxes.clear();
        l.missed = 0;
    }
    for Settled { pairs, missed } in per_frame {
        for (l, i) in pairs {
            landmarks[l].boxes.push(i);
        }
        for l in missed {
            landmarks[l].missed += 1;
        }
    }
}

fn settle_image(
    obs: &Observations,
    grid: &Grid,
    stand: &Stand,
    landmarks: &[Landmark],
    ev: &Evidence,
    frame: usize,
) -> Settled {
    let camera = stand.camera_of[frame];
    let lens = &obs.lenses[camera];
    let range = obs.of_frame(frame);
    let mut ids = Vec::new();
    let mut seen_list = Vec::new();
    let mut candidates = Vec::new();
    for (l, landmark) in landmarks.iter().enumerate() {
        let Some(seen) = visible(obs, stand, landmark, frame) else {
            continue;
        };
        let pd = own_rate(landmark.boxes.len(), landmark.missed, ev.detection);
        let odds = (pd / (1.0 - pd)).ln();
        let extra = ev
            .model
            .sigma_m(seen.distance_m / lens.mean_focal_px())
            .powi(2);
        let body = ids.len();
        grid.near(seen.at, seen.window(3.0, extra), |i| {
            let gain = odds + ev.gain(obs, camera, &obs.boxes[i], &seen);
            if gain > 0.0 {
                candidates.push(Candidate {
                    body,
                    box_idx: i,
                    gain,
                });
            }
        });
        ids.push(l);
        seen_list.push(seen);
    }
    let pairs = best_assignment(&candidates, ids.len(), range.start, range.len());
    let mut owner: Vec<Option<usize>> = vec![None; range.len()];
    let mut matched = vec![false; ids.len()];
    for &(b, i) in &pairs {
        owner[i - range.start] = Some(b);
        matched[b] = true;
    }
    let missed = (0..ids.len())
        .filter(|&b| {
            !matched[b]
                && seen_list[b].in_image(lens, 1.0)
                && !hidden(obs, grid, &seen_list, &owner, range.start, b)
        })
        .map(|b| ids[b])
        .collect();
    Settled {
        pairs: pairs.into_iter().map(|(b, i)| (ids[b], i)).collect(),
        missed,
    }
}

/// Whether a nearer body's box covers the middle of this one.
fn hidden(
    obs: &Observations,
    grid: &Grid,
    seen: &[Seen],
    owner: &[Option<usize>],
    first: usize,
    body: usize,
) -> bool {
    let s = &seen[body];
    let reach = nalgebra::Vector2::repeat(2.0 * s.radius_m / s.c.z);
    let mut covered = false;
    grid.near(s.at, reach, |i| {
        if let Some(o) = owner[i - first]
            && seen[o].distance_m < s.distance_m
        {
            let d = (obs.boxes[i].at - s.at).norm();
            covered |= d < seen[o].radius_m / seen[o].c.z;
        }
    });
    covered
}

/// Fits every body to its boxes again; bodies that cannot be fitted lose their boxes.
pub(crate) fn refit(obs: &Observations, stand: &Stand, landmarks: &mut [Landmark], ev: &Evidence) {
    landmarks.par_iter_mut().for_each(|l| {
        let start = (l.boxes.len() > 1).then_some(l.x);
        match fit(
            &obs.boxes,
            &l.boxes,
            &stand.placed,
            &ev.prior,
            l.depth.as_ref(),
            &ev.model,
            start,
        ) {
            Some(f) if !l.boxes.is_empty() => {
                l.x = f.x;
                l.cov = f.cov;
            }
            _ => l.boxes.clear(),
        }
    });
}

/// Unclaimed boxes that show a body which has a box in the same image already: the detector boxed it twice.
/// Positions in `Observations::boxes`, ascending, a body.
pub(crate) fn duplicates(
    obs: &Observations,
    grids: &[Grid],
    stand: &Stand,
    landmarks: &[Landmark],
    ev: &Evidence,
) -> Vec<Vec<usize>> {
    let mut owner: Vec<Option<usize>> = vec![None; obs.boxes.len()];
    for (k, l) in landmarks.iter().enumerate() {
        for &i in &l.boxes {
            owner[i] = Some(k);
        }
    }
    let mut best: Vec<Option<(f64, usize)>> = vec![None; obs.boxes.len()];
    for (k, l) in landmarks.iter().enumerate() {
        for &i in &l.boxes {
            let frame = obs.boxes[i].frame;
            let Some(seen) = visible(obs, stand, l, frame) else {
                continue;
            };
            grids[frame].near(seen.at, seen.window(3.0, 0.0), |j| {
                if owner[j].is_none() {
                    let gain = ev.gain(obs, stand.camera_of[frame], &obs.boxes[j], &seen);
                    if gain > 0.0 && best[j].is_none_or(|b| gain > b.0) {
                        best[j] = Some((gain, k));
                    }
                }
            });
        }
    }
    let mut out = vec![Vec::new(); landmarks.len()];
    for (j, b) in best.iter().enumerate() {
        if let Some((_, k)) = b {
            out[*k].push(j);
        }
    }
    out
}
