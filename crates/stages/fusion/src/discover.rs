//! Bodies that the boxes ask for and the map lacks: hypotheses from pairs of leftover boxes, weighed over all images
//! that should show them, taken greedily by the log likelihood that they gain.

use crate::bodies::{Landmark, fit};
use crate::config::Config;
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::{Innovation, Seen};
use crate::register::OCCLUSION_SHIFT;
use crate::sequential::{Pass, begin};
use crate::settle::{Evidence, own_rate, visible};
use rayon::prelude::*;

/// Rig poses before and after in which the partner of a box is looked for.
const PARTNER_NODES: usize = 6;
/// Squared Mahalanobis distance of a partner (three degrees of freedom, 99.9 %).
const PARTNER_GATE: f64 = 16.3;
/// Bodies nearer than this share of the sum of their radii cannot both be there.
pub(crate) const OVERLAP_SHARE: f64 = 0.7;

struct Hypothesis {
    score: f64,
    landmark: Landmark,
}

/// Adds bodies to the map. `free[i]` tells which boxes are unclaimed. Returns how many were added.
pub(crate) fn discover(
    pass: &Pass<'_>,
    stand: &Stand,
    landmarks: &mut Vec<Landmark>,
    ev: &Evidence,
) -> usize {
    let mut free = vec![true; pass.obs.boxes.len()];
    for l in landmarks.iter() {
        for &i in &l.boxes {
            free[i] = false;
        }
    }
    for b in &pass.obs.boxes {
        if stand.node_of[b.frame].is_none() {
            free[pass.obs.starts[b.frame]..pass.obs.starts[b.frame + 1]].fill(false);
        }
    }
    let seeds: Vec<usize> = (0..free.len()).filter(|&i| free[i]).collect();
    let mut found: Vec<Hypothesis> = seeds
        .par_iter()
        .filter_map(|&i| best_hypothesis(pass, stand, &free, i, ev))
        .collect();
    found.sort_by(|a, b| {
        b.score
            .total_cmp(&a.score)
            .then_with(|| a.landmark.boxes.cmp(&b.landmark.boxes))
    });
    let before = landmarks.len();
    for h in found {
        accept(pass, stand, landmarks, &mut free, h, ev);
    }
    landmarks.len() - before
}

/// The best body that explains a free box together with at least one more.
fn best_hypothesis(
    pass: &Pass<'_>,
    stand: &Stand,
    free: &[bool],
    seed: usize,
    ev: &Evidence,
) -> Option<Hypothesis> {
    let obs = pass.obs;
    let first = begin(pass, stand, seed)?;
    let node = stand.node_of[obs.boxes[seed].frame]?;
    let mut best: Option<Hypothesis> = None;
    let from = node.saturating_sub(PARTNER_NODES);
    let to = (node + PARTNER_NODES).min(stand.nodes.len() - 1);
    for frame in (from..=to).flat_map(|n| stand.nodes[n].frames.iter().copied()) {
        if frame == obs.boxes[seed].frame {
            continue;
        }
        let Some(seen) = visible(obs, stand, &first, frame, 0.0) else {
            continue;
        };
        let mut partners = Vec::new();
        pass.grids[frame].near(seen.at, seen.window(3.0, 0.0), |j| {
            if free[j] {
                let inn = Innovation::new(&obs.boxes[j], &seen, &ev.model, OCCLUSION_SHIFT);
                if let Some(c) = inn.covariance(&seen).cholesky()
                    && inn.y.dot(&c.solve(&inn.y)) < PARTNER_GATE
                {
                    partners.push(j);
                }
            }
        });
        for j in partners {
            if best
                .as_ref()
                .is_some_and(|b| b.landmark.boxes.binary_search(&j).is_ok())
            {
                continue;
            }
            if let Some(h) = grow(pass, stand, free, &first, seed, j, ev)
                && best.as_ref().is_none_or(|b| h.score > b.score)
            {
                best = Some(h);
            }
        }
    }
    best.filter(|b| b.score > 0.0)
}

/// Fits two boxes and gathers what else fits, twice.
fn grow(
    pass: &Pass<'_>,
    stand: &Stand,
    free: &[bool],
    first: &Landmark,
    i: usize,
    j: usize,
    ev: &Evidence,
) -> Option<Hypothesis> {
    let mut l = first.clone();
    l.boxes = vec![i.min(j), i.max(j)];
    refit_one(pass, stand, &mut l, ev)?;
    let mut score = gather(pass, stand, free, &mut l, ev)?;
    refit_one(pass, stand, &mut l, ev)?;
    if l.boxes.len() > 2 {
        score = gather(pass, stand, free, &mut l, ev)?;
        refit_one(pass, stand, &mut l, ev)?;
    }
    (l.boxes.len() > 1).then_some(Hypothesis { score, landmark: l })
}

fn refit_one(pass: &Pass<'_>, stand: &Stand, l: &mut Landmark, ev: &Evidence) -> Option<()> {
    let f = fit(
        &pass.obs.boxes,
        &l.boxes,
        &stand.placed,
        &pass.prior,
        l.depth.as_ref(),
        &ev.model,
        None,
    )?;
    (f.x[3] < 10.0 * pass.prior.radius_m.0).then_some(())?;
    l.x = f.x;
    l.cov = f.cov;
    Some(())
}

/// Gives the body the best free box of every image near those that it has; returns its score.
fn gather(
    pass: &Pass<'_>,
    stand: &Stand,
    free: &[bool],
    l: &mut Landmark,
    ev: &Evidence,
) -> Option<f64> {
    let obs = pass.obs;
    let nodes = |i: &usize| stand.node_of[obs.boxes[*i].frame];
    let low = l
        .boxes
        .iter()
        .filter_map(nodes)
        .min()?
        .saturating_sub(2 * PARTNER_NODES);
    let high =
        (l.boxes.iter().filter_map(nodes).max()? + 2 * PARTNER_NODES).min(stand.nodes.len() - 1);
    let mut boxes = Vec::new();
    let (mut gains, mut missed) = (0.0, 0_usize);
    for frame in (low..=high).flat_map(|n| stand.nodes[n].frames.iter().copied()) {
        let Some(seen) = visible(obs, stand, l, frame, 0.0) else {
            continue;
        };
        let camera = stand.camera_of[frame];
        let mut best: Option<(f64, usize)> = None;
        let mut any = false;
        pass.grids[frame].near(seen.at, seen.window(3.0, 0.0), |b| {
            let gain = ev.gain(obs, camera, &obs.boxes[b], &seen);
            any |= gain > 0.0;
            if free[b] && gain > 0.0 && best.is_none_or(|x| gain > x.0) {
                best = Some((gain, b));
            }
        });
        if let Some((g, b)) = best {
            boxes.push(b);
            gains += g;
        } else if !any && seen.in_image(&obs.lenses[camera], 1.0) {
            missed += 1;
        }
    }
    boxes.sort_unstable();
    l.boxes = boxes;
    l.missed = missed;
    (l.boxes.len() > 1).then(|| gains + views(l, ev) + ev.chance_of(l))
}

/// Takes a hypothesis unless its boxes are gone or a body stands there already.
fn accept(
    pass: &Pass<'_>,
    stand: &Stand,
    landmarks: &mut Vec<Landmark>,
    free: &mut [bool],
    h: Hypothesis,
    ev: &Evidence,
) {
    let mut l = h.landmark;
    if l.boxes.iter().any(|&i| !free[i]) {
        l.boxes.retain(|&i| free[i]);
        if l.boxes.len() < 2 || refit_one(pass, stand, &mut l, ev).is_none() {
            return;
        }
        match gather(pass, stand, free, &mut l, ev) {
            Some(score) if score > 0.0 => {}
            _ => return,
        }
        if refit_one(pass, stand, &mut l, ev).is_none() {
            return;
        }
    }
    let clash = landmarks
        .iter()
        .any(|o| (o.centre() - l.centre()).norm() < OVERLAP_SHARE * (o.radius() + l.radius()));
    if clash || !plausible(&l, pass.config) {
        return;
    }
    for &i in &l.boxes {
        free[i] = false;
    }
    landmarks.push(l);
}

fn plausible(l: &Landmark, config: &Config) -> bool {
    l.radius() > 5e-4
        && l.centre().iter().all(|v| v.is_finite())
        && l.radius() < config.distance_m.1
}

/// The log likelihood that a body gains with the boxes that it has, over having them as clutter.
pub(crate) fn score_of(obs: &Observations, stand: &Stand, l: &Landmark, ev: &Evidence) -> f64 {
    let gains: f64 = l
        .boxes
        .iter()
        .filter_map(|&i| {
            let b = &obs.boxes[i];
            Seen::new(l, &stand.placed[b.frame])
                .map(|s| ev.gain(obs, stand.camera_of[b.frame], b, &s))
        })
        .sum();
    gains - l.otherwise + views(l, ev) + ev.chance_of(l)
}

/// Log likelihood of being seen as often as it was, and missed as often.
fn views(l: &Landmark, ev: &Evidence) -> f64 {
    let pd = own_rate(l.boxes.len(), l.missed, ev.detection);
    l.boxes.len() as f64 * pd.ln() + l.missed as f64 * (1.0 - pd).ln()
}
