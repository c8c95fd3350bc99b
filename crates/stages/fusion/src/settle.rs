//! New association of all boxes against the finished map: releases boxes that no longer fit, counts what was missed.

use crate::associate::{Candidate, best_assignment};
use crate::bodies::{Landmark, Prior, box_log_density, fit, radius_px};
use crate::cubes::Cubes;
use crate::edge_model::EdgeModel;
use crate::grid::Grid;
use crate::nodes::Stand;
use crate::observe::{BoxObs, Observations};
use crate::predict::Seen;
use crate::sway::{Memory, Picture, SWAY_TURNS, Sway};
use nalgebra::{Matrix4, Vector2, Vector3, Vector4};
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Deviations of its centre within which a body may be.
const VISIBLE_SIGMAS: f64 = 3.0;
/// Deviations of the motion by which a body may be displaced.
const SWAY_SIGMAS: f64 = 6.0;

/// Likelihood terms shared by association, discovery and existence.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Evidence {
    pub(crate) model: EdgeModel,
    pub(crate) prior: Prior,
    /// Chance that a body in plain view is detected, over all bodies.
    pub(crate) detection: f64,
    /// Mean number of boxes an image that no body explains.
    pub(crate) clutter_per_image: f64,
    /// Motion that neighbours share.
    pub(crate) sway: Sway,
    /// Bodies in a cubic metre, where there are any.
    pub(crate) per_m3: f64,
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

    /// Log of the chance that a body stands just where this one does, and is of its size: one more sphere must pay for the
    /// four numbers that its boxes were free to choose. Laplace's approximation of the evidence (MacKay, Neural Computation
    /// 4(3), 1992, eq. 2.6): the prior's density at the estimate times the volume that the posterior leaves.
    pub(crate) fn chance_of(&self, l: &Landmark) -> f64 {
        let (mean, sd) = self.prior.radius_m;
        let z = (l.radius() - mean) / sd;
        let prior = self.per_m3 * (-0.5 * z * z).exp() / sd;
        // the prior's and the posterior's root of 2 pi for the size are one
        let volume = TAU.powf(1.5) * l.cov.determinant().max(0.0).sqrt();
        (prior * volume).clamp(f64::MIN_POSITIVE, 1.0).ln()
    }

    /// Log likelihood of a box as this body over the box as clutter, without the detection probability.
    pub(crate) fn gain(&self, obs: &Observations, camera: usize, b: &BoxObs, s: &Seen) -> f64 {
        self.gain_under(&self.model, obs, camera, b, s)
    }

    fn gain_under(
        &self,
        model: &EdgeModel,
        obs: &Observations,
        camera: usize,
        b: &BoxObs,
        s: &Seen,
    ) -> f64 {
        let (log, used) = box_log_density(b, &s.c, s.radius_m, model, |n| edge_variance(n, &s.cov));
        if used == 0 {
            return f64::NEG_INFINITY;
        }
        let by_depth = b.depth.map_or(0.0, |d| d.gain(s, model.stir.level_m2));
        log - self.clutter_log(obs, camera, b, s, used) + by_depth
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

/// Where a body is in an image that may show it: no further outside than it may be off, which is some deviations of
/// its centre and `slack_m` besides.
pub(crate) fn visible(
    obs: &Observations,
    stand: &Stand,
    l: &Landmark,
    frame: usize,
    slack_m: f64,
) -> Option<Seen> {
    stand.node_of[frame]?;
    let c = stand.placed[frame].into_camera(&l.centre());
    let reach_m = doubt_m(l) + slack_m;
    obs.covers[stand.camera_of[frame]]
        .meets(&c, reach_m)
        .then(|| Seen::new(l, &stand.placed[frame]))?
}

/// How far from its centre a body may reach, as well as that is known.
pub(crate) fn doubt_m(l: &Landmark) -> f64 {
    let variance = l.cov.fixed_view::<3, 3>(0, 0).trace().max(0.0);
    VISIBLE_SIGMAS * variance.sqrt() + l.radius()
}

/// What one image came to: (body, box) pairs, and the bodies that it should have shown and did not.
struct Settled {
    /// Body, box, and what the box would gain with another body.
    pairs: Vec<(usize, usize, f64)>,
    missed: Vec<usize>,
}

/// Assigns all boxes anew. Bodies keep their states; their box lists and missed counts are rewritten. Returns how many
/// bodies each image should have shown and did not.
pub(crate) fn settle(
    obs: &mut Observations,
    grids: &[Grid],
    stand: &Stand,
    landmarks: &mut [Landmark],
    ev: &Evidence,
) -> Vec<usize> {
    obs.tracks.follow(landmarks);
    let shared: &[Landmark] = landmarks;
    let seen: &Observations = obs;
    let cubes = Cubes::of(shared.iter().map(|l| (l.centre(), doubt_m(l))));
    let memory = if ev.sway.matters() {
        Memory::of(seen, stand, shared, &ev.model)
    } else {
        Memory::default()
    };
    let map = Mapped {
        landmarks: shared,
        cubes: &cubes,
        memory: &memory,
    };
    let per_frame: Vec<Settled> = (0..grids.len())
        .into_par_iter()
        .map(|f| settle_image(seen, &grids[f], stand, &map, ev, f))
        .collect();
    for l in landmarks.iter_mut() {
        l.boxes.clear();
        l.missed = 0;
        l.otherwise = 0.0;
    }
    let missed_in = per_frame.iter().map(|s| s.missed.len()).collect();
    for Settled { pairs, missed } in per_frame {
        for (l, i, otherwise) in pairs {
            landmarks[l].boxes.push(i);
            landmarks[l].otherwise += otherwise;
        }
        for l in missed {
            landmarks[l].missed += 1;
        }
    }
    ev.sway.set(obs, stand, landmarks, &ev.model);
    missed_in
}

/// The map that boxes are assigned against.
struct Mapped<'a> {
    landmarks: &'a [Landmark],
    cubes: &'a Cubes,
    /// What their boxes so far tell of motion.
    memory: &'a Memory,
}

/// A body that an image may show.
struct InView {
    landmark: usize,
    /// Log odds of a box where it is.
    odds: f64,
    /// Where the map has it.
    mapped: Seen,
}

fn settle_image(
    obs: &Observations,
    grid: &Grid,
    stand: &Stand,
    map: &Mapped<'_>,
    ev: &Evidence,
    frame: usize,
) -> Settled {
    let slack_m = SWAY_SIGMAS * ev.model.stir.most_m();
    let cover = &obs.covers[stand.camera_of[frame]];
    let in_view: Vec<InView> = (map.cubes)
        .that(|centre, reach_m| {
            let c = stand.placed[frame].into_camera(centre);
            cover.meets(&c, reach_m + slack_m)
        })
        .into_iter()
        .filter_map(|l| {
            let landmark = &map.landmarks[l];
            let mapped = visible(obs, stand, landmark, frame, slack_m)?;
            let pd = own_rate(landmark.boxes.len(), landmark.missed, ev.detection);
            Some(InView {
                landmark: l,
                odds: (pd / (1.0 - pd)).ln(),
                mapped,
            })
        })
        .collect();
    let mut seen: Vec<Seen> = in_view.iter().map(|b| b.mapped).collect();
    let mut models = vec![ev.model; seen.len()];
    let image = Image {
        obs,
        grid,
        ev,
        camera: stand.camera_of[frame],
        boxes: obs.of_frame(frame),
    };
    let mut assigned = Assigned::nothing(seen.len());
    if let (true, Some(node)) = (ev.sway.matters(), stand.node_of[frame]) {
        let mapped = seen.clone();
        let bodies: Vec<usize> = in_view.iter().map(|b| b.landmark).collect();
        let picture = Picture {
            frame,
            node,
            placed: &stand.placed[frame],
            seen: &mapped,
            bodies: &bodies,
        };
        for _ in 0..=SWAY_TURNS {
            let displaced =
                (ev.sway).displaced(obs, &picture, &assigned.matched, map.memory, &ev.model);
            for (k, d) in displaced.iter().enumerate() {
                seen[k] = mapped[k].moved(&d.by);
                models[k].stir = d.left;
            }
            let now = image.assign(&in_view, &seen, &models);
            let before = std::mem::replace(&mut assigned, now);
            // the same matches displace alike
            if assigned.matched == before.matched {
                break;
            }
        }
    } else {
        assigned = image.assign(&in_view, &seen, &models);
    }
    image.settled(&in_view, &seen, &assigned)
}

/// The boxes of an image as they are given to the bodies in view.
struct Assigned {
    /// Box of each body.
    matched: Vec<Option<usize>>,
    /// What each body's box would gain with the best of the bodies that have none, at least 0.
    otherwise: Vec<f64>,
}

impl Assigned {
    fn nothing(bodies: usize) -> Self {
        Self {
            matched: vec![None; bodies],
            otherwise: vec![0.0; bodies],
        }
    }
}

/// One image and its boxes.
struct Image<'a> {
    obs: &'a Observations,
    grid: &'a Grid,
    ev: &'a Evidence,
    camera: usize,
    boxes: std::ops::Range<usize>,
}

impl Image<'_> {
    /// The box of each body under its own edge model.
    fn assign(&self, in_view: &[InView], seen: &[Seen], models: &[EdgeModel]) -> Assigned {
        let m_per_px = |s: &Seen| s.distance_m / self.obs.lenses[self.camera].mean_focal_px();
        let mut candidates = Vec::new();
        for (body, s) in seen.iter().enumerate() {
            let edge_m = models[body].sigma_px * m_per_px(s);
            let extra = edge_m * edge_m + models[body].stir.most_m().powi(2);
            self.grid.near(s.at, s.window(3.0, extra), |i| {
                let b = &self.obs.boxes[i];
                let density = self
                    .ev
                    .gain_under(&models[body], self.obs, self.camera, b, s);
                let hint = self.obs.tracks.hint(i, in_view[body].landmark);
                // among boxes that may show it: a hint alone shows nothing
                let gain = in_view[body].odds + density;
                if gain > 0.0 {
                    let gain = gain + hint;
                    candidates.push(Candidate {
                        body,
                        box_idx: i,
                        gain,
                    });
                }
            });
        }
        let mut assigned = Assigned::nothing(seen.len());
        let pairs = best_assignment(&candidates, seen.len(), self.boxes.start, self.boxes.len());
        for (body, i) in pairs {
            assigned.matched[body] = Some(i);
        }
        let owner = self.owners(&assigned.matched);
        for c in &candidates {
            if let (None, Some(o)) = (
                assigned.matched[c.body],
                owner[c.box_idx - self.boxes.start],
            ) {
                assigned.otherwise[o] = assigned.otherwise[o].max(c.gain);
            }
        }
        assigned
    }

    /// The body of each box of the image.
    fn owners(&self, matched: &[Option<usize>]) -> Vec<Option<usize>> {
        let mut owner: Vec<Option<usize>> = vec![None; self.boxes.len()];
        for (body, i) in matched.iter().enumerate() {
            if let Some(i) = i {
                owner[i - self.boxes.start] = Some(body);
            }
        }
        owner
    }

    fn settled(&self, in_view: &[InView], seen: &[Seen], assigned: &Assigned) -> Settled {
        let lens = &self.obs.lenses[self.camera];
        let first = self.boxes.start;
        let owner = self.owners(&assigned.matched);
        let missed = (0..seen.len())
            .filter(|&b| {
                assigned.matched[b].is_none()
                    && seen[b].in_image(lens, 1.0)
                    && !hidden(self.obs, self.grid, seen, &owner, first, b)
            })
            .map(|b| in_view[b].landmark)
            .collect();
        let pairs = in_view
            .iter()
            .zip(assigned.matched.iter().zip(&assigned.otherwise))
            .filter_map(|(b, (i, otherwise))| Some((b.landmark, (*i)?, *otherwise)))
            .collect();
        Settled { pairs, missed }
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
    let reach = Vector2::repeat(2.0 * s.radius_m / s.c.z);
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
            let Some(seen) = visible(obs, stand, l, frame, 0.0) else {
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
