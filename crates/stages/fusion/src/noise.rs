//! Noise levels from the run itself: box edges, occlusion, detection, clutter, size of the bodies, poses.

use crate::bodies::{Landmark, radius_px, residuals};
use crate::edge_model::EdgeModel;
use crate::nodes::Stand;
use crate::observe::Observations;

/// Fewest residuals from which a level is believed.
const FEWEST: usize = 200;
/// Median of the absolute value of a standard normal variable.
const NORMAL_MEDIAN: f64 = 0.674_5;

/// The edge model as the residuals of well-seen bodies show it. Occlusion moves edges inwards only, so the spread is
/// taken from the outward side.
pub(crate) fn edge_model(obs: &Observations, stand: &Stand, landmarks: &[Landmark], now: &EdgeModel) -> Option<(EdgeModel, usize)> {
    let mut outward = Vec::new();
    let (mut hidden, mut all, mut unknowns, mut rows) = (0.0, 0.0, 0.0, 0.0);
    for l in landmarks.iter().filter(|l| l.boxes.len() > 3) {
        unknowns += 4.0;
        for &i in &l.boxes {
            let b = &obs.boxes[i];
            let c = stand.placed[b.frame].into_camera(&l.centre());
            let px = radius_px(b, c.norm(), l.radius());
            for (k, e) in residuals(b, &c, l.radius(), now.sigma_px).iter().enumerate() {
                if !b.usable[k] {
                    continue;
                }
                let z = e.metres / e.sigma_m;
                let core = now.log_density(z, px).1;
                rows += core;
                all += 1.0;
                hidden += if z < 0.0 { 1.0 - core } else { 0.0 };
                if z > 0.0 {
                    outward.push(z);
                }
            }
        }
    }
    if outward.len() < FEWEST {
        return None;
    }
    outward.sort_by(f64::total_cmp);
    let dof = (rows / (rows - unknowns).max(1.0)).sqrt();
    let z = outward[outward.len() / 2] / NORMAL_MEDIAN * dof;
    let model = EdgeModel { sigma_px: (now.sigma_px * z).clamp(0.02, 30.0), occluded: (hidden / all).clamp(0.01, 0.6) };
    Some((model, outward.len()))
}

/// Mean and spread of the radius of well-seen bodies.
pub(crate) fn radius(landmarks: &[Landmark]) -> Option<(f64, f64)> {
    let mut r: Vec<f64> = landmarks
        .iter()
        .filter(|l| l.boxes.len() > 2 && l.cov[(3, 3)].sqrt() < 0.15 * l.radius())
        .map(Landmark::radius)
        .collect();
    if r.len() < 10 {
        return None;
    }
    r.sort_by(f64::total_cmp);
    let at = |q: f64| r[((r.len() - 1) as f64 * q) as usize];
    Some((at(0.5), ((at(0.84) - at(0.16)) * 0.5).max(0.08 * at(0.5))))
}

/// Share of views in which a body that should show was boxed, over bodies with several boxes.
pub(crate) fn detection(landmarks: &[Landmark]) -> Option<(f64, usize)> {
    let (mut seen, mut all) = (0, 0);
    for l in landmarks.iter().filter(|l| l.boxes.len() > 2) {
        seen += l.boxes.len();
        all += l.boxes.len() + l.missed;
    }
    (all >= FEWEST).then(|| ((seen as f64 / all as f64).clamp(0.1, 0.99), all))
}

/// Mean number of boxes an image that no body with several boxes explains.
pub(crate) fn clutter(obs: &Observations, landmarks: &[Landmark], frames: usize) -> f64 {
    let explained: usize = landmarks.iter().filter(|l| l.boxes.len() > 1).map(|l| l.boxes.len()).sum();
    (obs.boxes.len().saturating_sub(explained)) as f64 / frames.max(1) as f64
}

/// Root mean square of the corrections: metres, radians.
pub(crate) fn poses(stand: &Stand) -> Option<(f64, f64)> {
    let n = stand.nodes.len();
    if n < 5 {
        return None;
    }
    let sum = |from: usize| -> f64 {
        stand.nodes.iter().map(|x| x.correction.fixed_rows::<3>(from).norm_squared()).sum::<f64>() / (3 * n) as f64
    };
    Some((sum(0).sqrt(), sum(3).sqrt()))
}
