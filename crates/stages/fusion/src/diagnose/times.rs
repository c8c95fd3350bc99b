//! Each rig pose: what its images show, and what holds it.

use super::residuals::FEWEST_BOXES;
use super::spread::spread;
use crate::bodies::{Landmark, residuals_at_rest};
use crate::fuse::Work;
use corymb_model::diagnostics::{BoxFate, TimeReport};

/// A pose whose deviations stay above this share of what was stated is held by the statement alone.
const UNTOLD: f64 = 0.95;

#[derive(Default)]
struct Residuals {
    across: Vec<f64>,
    down: Vec<f64>,
    size: Vec<f64>,
    matched: usize,
    linking: usize,
}

/// One report a node, in their order.
pub(super) fn reports(
    work: &Work<'_>,
    landmarks: &[&Landmark],
    fates: &[BoxFate],
) -> Vec<TimeReport> {
    let mut of: Vec<Residuals> = Vec::new();
    of.resize_with(work.stand.nodes.len(), Residuals::default);
    for l in landmarks {
        count(work, l, &mut of);
        if l.boxes.len() >= FEWEST_BOXES {
            measure(work, l, &mut of);
        }
    }
    of.into_iter()
        .enumerate()
        .map(|(node, r)| report(work, node, r, fates))
        .collect()
}

fn count(work: &Work<'_>, l: &Landmark, of: &mut [Residuals]) {
    let node = |i: &usize| work.stand.node_of[work.obs.boxes[*i].frame];
    let mut nodes: Vec<usize> = l.boxes.iter().filter_map(node).collect();
    for &n in &nodes {
        of[n].matched += 1;
    }
    nodes.sort_unstable();
    nodes.dedup();
    for &n in nodes.iter().filter(|_| nodes.len() > 1) {
        of[n].linking += 1;
    }
}

fn measure(work: &Work<'_>, l: &Landmark, of: &mut [Residuals]) {
    for &i in &l.boxes {
        let b = &work.obs.boxes[i];
        let Some(node) = work.stand.node_of[b.frame] else {
            continue;
        };
        let c = work.stand.placed[b.frame].into_camera(&l.centre());
        let e = residuals_at_rest(b, &c, l.radius(), &work.evidence.model)
            .map(|e| e.metres / e.m_per_px);
        // edges stand left, top, right, bottom, and a residual is positive outwards
        if b.usable[0] && b.usable[2] {
            of[node].across.push(0.5 * (e[2] - e[0]));
            of[node].size.push(0.5 * (e[2] + e[0]));
        }
        if b.usable[1] && b.usable[3] {
            of[node].down.push(0.5 * (e[3] - e[1]));
            of[node].size.push(0.5 * (e[3] + e[1]));
        }
    }
}

fn report(work: &Work<'_>, node: usize, mut r: Residuals, fates: &[BoxFate]) -> TimeReport {
    let n = &work.stand.nodes[node];
    let boxes = n.frames.iter().flat_map(|&f| work.obs.of_frame(f));
    let missed = |f: &usize| work.missed_in.get(*f).copied();
    let deviations = work.refined.node_sd.get(node).copied();
    TimeReport {
        time_s: n.time_s,
        pass: n.pass.clone(),
        images: n.frames.len(),
        matched: r.matched,
        missed: n.frames.iter().map(missed).sum(),
        unclaimed: boxes.filter(|&i| fates[i] == BoxFate::Unclaimed).count(),
        across: spread(&mut r.across),
        down: spread(&mut r.down),
        size: spread(&mut r.size),
        correction_m: n.correction.fixed_rows::<3>(0).norm(),
        correction_rad: n.correction.fixed_rows::<3>(3).norm(),
        translation_deviation_m: deviations.map(|d| d.0),
        rotation_deviation_rad: deviations.map(|d| d.1),
        linking_bodies: r.linking,
        on_prior_alone: deviations.map_or(r.linking == 0, |d| {
            d.0 > UNTOLD * work.pose_sd.0 && d.1 > UNTOLD * work.pose_sd.1
        }),
    }
}
