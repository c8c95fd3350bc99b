//! How bodies move while they are seen: how far, and over what time a motion lasts.
//!
//! Wind that is slow beside the images moves a body steadily while the rig passes; the fit takes most of that for place
//! and depth, so the residuals show little of it. Restricted likelihood (Patterson and Thompson, Biometrika 58, 1971)
//! weighs what is left after the fit, and so tells the whole: with the residuals e of the middles of a body's boxes,
//! their derivatives X by its centre, and S = noise + motion, the log likelihood is
//! `-(ln |S| + ln |X' S^-1 X| + e' (S^-1 - S^-1 X (X' S^-1 X)^-1 X' S^-1) e) / 2`.

use crate::bodies::{Landmark, radius_px, residuals};
use crate::edge_model::EdgeModel;
use crate::nodes::Stand;
use crate::observe::Observations;
use nalgebra::{DMatrix, DVector, Vector3};
use rayon::prelude::*;

/// Motion of a body per axis: Gaussian in time with covariance `variance exp(-dt^2 / (2 lasts^2))`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Motion {
    /// Along x, y and z of the orchard: wind moves what hangs sideways more than up and down.
    pub(crate) variance_m2: [f64; 3],
    /// Seconds; infinite = a body is somewhere else, and stays there.
    pub(crate) lasts_s: f64,
}

/// Images of a body from which motion is told, and at most: the cost grows with their cube.
const IMAGES: (usize, usize) = (6, 16);
/// Bodies looked at, at most, and at least.
const BODIES: (usize, usize) = (60, 10);
/// Motions tried: variance over that of the residuals, how much less of it is upright, and time.
const TIMES_VARIANCE: [f64; 9] = [1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0];
const UPRIGHT: [f64; 4] = [0.0, 0.1, 0.3, 1.0];
const LASTS_S: [f64; 6] = [0.1, 0.25, 0.5, 0.8, 1.3, 2.5];
/// Motion below this share of the noise of a box's middle is not worth the trial.
const LEAST_SHARE: f64 = 0.5;
/// Share of a box edge's density that its core must explain.
const SOUND: f64 = 0.3;

/// The residuals of one body.
struct Seen {
    e: DVector<f64>,
    x: DMatrix<f64>,
    noise_m2: Vec<f64>,
    time_s: Vec<f64>,
}

/// The motion under which the residuals of the run are likeliest; that of the edge model, at rest, where it is too small
/// or too few bodies tell.
pub(crate) fn learn(
    obs: &Observations,
    stand: &Stand,
    landmarks: &[Landmark],
    model: &EdgeModel,
) -> Motion {
    let motion2 = model.stir.mean_m().powi(2);
    let still = Motion {
        variance_m2: [motion2; 3],
        lasts_s: f64::INFINITY,
    };
    let fit: Vec<&Landmark> = landmarks
        .iter()
        .filter(|l| (IMAGES.0..=IMAGES.1).contains(&l.boxes.len()))
        .collect();
    let step = fit.len().div_ceil(BODIES.0).max(1);
    let seen: Vec<Seen> = fit
        .iter()
        .step_by(step)
        .filter_map(|l| look(obs, stand, l, model))
        .collect();
    let noise_m2 = seen.iter().flat_map(|s| &s.noise_m2).sum::<f64>()
        / seen.iter().map(|s| s.noise_m2.len()).sum::<usize>().max(1) as f64;
    if seen.len() < BODIES.1 || motion2 < LEAST_SHARE * LEAST_SHARE * noise_m2 {
        return still;
    }
    let trial = |times: f64, upright: f64, lasts_s: f64| Motion {
        variance_m2: [1.0, 1.0, upright].map(|share| share * times * motion2),
        lasts_s,
    };
    let first = LASTS_S
        .iter()
        .flat_map(|&s| TIMES_VARIANCE.map(|t| trial(t, 1.0, s)))
        .collect();
    let Some(lasts_s) = likeliest(&seen, first).map(|m| m.lasts_s) else {
        return still;
    };
    let second = UPRIGHT
        .iter()
        .flat_map(|&u| TIMES_VARIANCE.map(|t| trial(t, u, lasts_s)))
        .collect();
    likeliest(&seen, second).unwrap_or(still)
}

fn likeliest(seen: &[Seen], trials: Vec<Motion>) -> Option<Motion> {
    let likelihoods: Vec<f64> = trials
        .par_iter()
        .map(|m| seen.iter().filter_map(|s| log_likelihood(s, m)).sum())
        .collect();
    let pairs = trials.into_iter().zip(likelihoods);
    Some(pairs.max_by(|a, b| a.1.total_cmp(&b.1))?.0)
}

impl Motion {
    /// Covariance along each axis of where a body is at two times, square metres.
    pub(crate) fn between(&self, dt_s: f64) -> Vector3<f64> {
        let d = dt_s / self.lasts_s;
        Vector3::from(self.variance_m2) * (-0.5 * d * d).exp()
    }

    /// Whether anything moves.
    pub(crate) fn matters(&self) -> bool {
        self.variance_m2[0] > 0.0
    }
}

fn look(obs: &Observations, stand: &Stand, l: &Landmark, model: &EdgeModel) -> Option<Seen> {
    let (mut e, mut rows, mut noise_m2, mut time_s) =
        (vec![], Vec::<Vector3<f64>>::new(), vec![], vec![]);
    for &i in &l.boxes {
        let b = &obs.boxes[i];
        let placed = &stand.placed[b.frame];
        let c = placed.into_camera(&l.centre());
        let px = radius_px(b, c.norm(), l.radius());
        let law = model.at(px);
        let all = residuals(b, &c, l.radius(), model);
        let sound =
            |k: usize| b.usable[k] && law.core_share(all[k].metres / all[k].sigma_m) > SOUND;
        for (p, q) in [(0, 2), (1, 3)] {
            if sound(p) && sound(q) {
                e.push(0.5 * (all[p].metres - all[q].metres));
                rows.push(placed.r * (b.normals[p] - b.normals[q]) * 0.5);
                noise_m2.push(0.5 * (model.sigma_px * all[p].m_per_px).powi(2));
                time_s.push(stand.nodes[stand.node_of[b.frame]?].time_s);
            }
        }
    }
    (e.len() > 2 * IMAGES.0 - 2).then(|| Seen {
        x: DMatrix::from_fn(rows.len(), 3, |i, k| rows[i][k]),
        e: DVector::from_vec(e),
        noise_m2,
        time_s,
    })
}

fn log_likelihood(s: &Seen, motion: &Motion) -> Option<f64> {
    let n = s.e.len();
    let cov = DMatrix::from_fn(n, n, |i, j| {
        let noise = if i == j { s.noise_m2[i] } else { 0.0 };
        let between = motion.between(s.time_s[i] - s.time_s[j]);
        (0..3).fold(noise, |sum, k| sum + s.x[(i, k)] * s.x[(j, k)] * between[k])
    });
    let chol = cov.cholesky()?;
    let l = chol.l_dirty();
    let ex = l.solve_lower_triangular(&s.e)?;
    let xx = l.solve_lower_triangular(&s.x)?;
    let inner = (xx.transpose() * &xx).cholesky()?;
    let xe = xx.transpose() * &ex;
    let quadratic = ex.norm_squared() - xe.dot(&inner.solve(&xe));
    let log_det = |m: &DMatrix<f64>| m.diagonal().iter().map(|v| v.ln()).sum::<f64>();
    Some(-log_det(l) - log_det(inner.l_dirty()) - 0.5 * quadratic)
}
