//! Noise levels from the run itself: box edges, occlusion, detection, clutter, size of the bodies, poses.

use crate::bodies::{Landmark, radius_px, residuals};
use crate::cubes::Cubes;
use crate::edge_model::{EdgeModel, Stir};
use crate::nodes::Stand;
use crate::observe::Observations;

/// Fewest residuals from which a level is believed.
const FEWEST: usize = 200;
/// Fewest bodies from which the constant part is believed.
const FEWEST_BODIES: usize = 20;
/// Median of the absolute value of a standard normal variable.
const NORMAL_MEDIAN: f64 = 0.674_5;

/// Difference of two squared cosines with the plumb line by which level and upright motion can be told apart.
const LEAST_TILT: f64 = 0.3;

/// Boxes of a body from which its residuals count: fewer follow their own errors. Where too few bodies have so many, the
/// second number holds.
const FEWEST_BOXES: [usize; 2] = [5, 3];

/// The edge model as the residuals of well-seen bodies show it.
///
/// Across a box, half the difference of two opposite residuals is the error of its middle and half their sum that of
/// its size. Noise of the edges alone shows in both alike, motion of the body or the camera in the middle only.
/// Occlusion moves edges inwards only, so the size's spread is taken from its outward side.
pub(crate) fn edge_model(
    obs: &Observations,
    stand: &Stand,
    landmarks: &[Landmark],
    now: &EdgeModel,
) -> Option<(EdgeModel, usize)> {
    let from = |least| edge_model_from(obs, stand, landmarks, now, least);
    FEWEST_BOXES.into_iter().find_map(from)
}

fn edge_model_from(
    obs: &Observations,
    stand: &Stand,
    landmarks: &[Landmark],
    now: &EdgeModel,
    fewest_boxes: usize,
) -> Option<(EdgeModel, usize)> {
    let (mut middles, mut outward) = (Middles::default(), Vec::new());
    let (mut hidden, mut all) = (0.0, 0.0);
    for l in landmarks.iter().filter(|l| l.boxes.len() >= fewest_boxes) {
        // three unknowns follow the middles, one the sizes, each of two rows a box
        let rows = 2.0 * l.boxes.len() as f64;
        let (dof_middle, dof_size) = ((rows / (rows - 3.0)).sqrt(), (rows / (rows - 1.0)).sqrt());
        for &i in &l.boxes {
            let b = &obs.boxes[i];
            let c = stand.placed[b.frame].into_camera(&l.centre());
            let law = now.at(radius_px(b, c.norm(), l.radius()));
            let e = residuals(b, &c, l.radius(), now);
            let core = e.map(|e| law.core_share(e.metres / e.sigma_m));
            for k in 0..4 {
                if b.usable[k] {
                    all += 1.0;
                    hidden += if e[k].metres < 0.0 {
                        1.0 - core[k]
                    } else {
                        0.0
                    };
                }
            }
            for (p, q) in [(0, 2), (1, 3)] {
                if b.usable[p] && b.usable[q] {
                    let middle = (e[p].metres - e[q].metres).abs() * 0.5 * dof_middle;
                    middles.push(middle, b.plumb_share[p]);
                    let size = (e[p].metres + e[q].metres) * 0.5 / e[p].m_per_px * dof_size;
                    if size > 0.0 {
                        outward.push((size, e[p].m_per_px));
                    }
                }
            }
        }
    }
    if outward.len() < FEWEST {
        return None;
    }
    let at = outward.len() / 2;
    let size_px = outward
        .select_nth_unstable_by(at, |a, b| a.0.total_cmp(&b.0))
        .1
        .0;
    let m_per_px = outward.iter().map(|o| o.1).sum::<f64>() / outward.len() as f64;
    let size_sd = size_px / NORMAL_MEDIAN;
    let model = EdgeModel {
        sigma_px: (size_sd * std::f64::consts::SQRT_2).clamp(0.02, 30.0),
        occluded: (hidden / all).clamp(0.01, 0.6),
        stir: middles.stir((size_sd * m_per_px).powi(2)),
    };
    Some((model, outward.len()))
}

/// Errors of boxes' middles, metres, along rather level directions and rather upright ones, each with the squared cosine
/// of its direction with the plumb line.
#[derive(Default)]
struct Middles {
    level: Vec<(f64, f64)>,
    plumb: Vec<(f64, f64)>,
}

impl Middles {
    fn push(&mut self, error_m: f64, plumb_share: f64) {
        if plumb_share < 0.5 {
            self.level.push((error_m, plumb_share));
        } else {
            self.plumb.push((error_m, plumb_share));
        }
    }

    /// The motion that is left when the edges' own variance is taken from both.
    fn stir(mut self, edges_m2: f64) -> Stir {
        let [level, plumb] = [&mut self.level, &mut self.plumb].map(|list| left(list, edges_m2));
        match (level, plumb) {
            (Some((a, s)), Some((b, t))) if t - s > LEAST_TILT => {
                // a = level + (plumb - level) s, b the same with t
                let slope = (b - a) / (t - s);
                Stir {
                    level_m2: (a - slope * s).max(0.0),
                    plumb_m2: (a + slope * (1.0 - s)).max(0.0),
                }
            }
            (Some((a, _)), Some((b, _))) => Stir::alike((0.5 * (a + b)).sqrt()),
            (Some((m2, _)), None) | (None, Some((m2, _))) => Stir::alike(m2.sqrt()),
            (None, None) => Stir::alike(0.0),
        }
    }
}

/// Variance of the errors beyond that of the edges, and their mean squared cosine.
fn left(list: &mut [(f64, f64)], edges_m2: f64) -> Option<(f64, f64)> {
    if list.len() < FEWEST {
        return None;
    }
    let share = list.iter().map(|m| m.1).sum::<f64>() / list.len() as f64;
    let at = list.len() / 2;
    let median = list
        .select_nth_unstable_by(at, |a, b| a.0.total_cmp(&b.0))
        .1
        .0;
    Some((
        ((median / NORMAL_MEDIAN).powi(2) - edges_m2).max(0.0),
        share,
    ))
}

/// Standard deviation in pixels of the part of an edge's error that stays with a body and camera.
///
/// Across and down, the size residuals of one box differ by what its edges err; their mean over a camera's images of
/// one body keeps only the constant part (and what the body's shape differs from a sphere, which errs alike).
pub(crate) fn constant_part(
    obs: &Observations,
    stand: &Stand,
    landmarks: &[Landmark],
    model: &EdgeModel,
) -> Option<f64> {
    let cameras = stand.mount_stated.len();
    let (mut means, mut noise) = (Vec::new(), Vec::new());
    for l in landmarks {
        let mut of: Vec<Vec<f64>> = vec![Vec::new(); cameras];
        for &i in &l.boxes {
            let b = &obs.boxes[i];
            let c = stand.placed[b.frame].into_camera(&l.centre());
            let e = residuals(b, &c, l.radius(), model);
            if b.usable.iter().all(|u| *u) {
                let across = (e[0].metres + e[2].metres) * 0.5 / e[0].m_per_px;
                let down = (e[1].metres + e[3].metres) * 0.5 / e[1].m_per_px;
                of[stand.camera_of[b.frame]].push(across - down);
            }
        }
        for q in of.iter().filter(|q| q.len() >= FEWEST_BOXES[0]) {
            let n = q.len() as f64;
            let mean = q.iter().sum::<f64>() / n;
            means.push(mean.abs());
            noise.push(q.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0) / n);
        }
    }
    if means.len() < FEWEST_BODIES {
        return None;
    }
    means.sort_by(f64::total_cmp);
    noise.sort_by(f64::total_cmp);
    let total = means[means.len() / 2] / NORMAL_MEDIAN;
    Some((total * total - noise[noise.len() / 2]).max(0.0).sqrt())
}

/// Bodies in a cubic metre, over those cubes of space that hold any.
pub(crate) fn density(landmarks: &[Landmark]) -> Option<f64> {
    let known = landmarks.iter().filter(|l| l.boxes.len() > 2);
    let cubes = Cubes::of(known.map(|l| (l.centre(), 0.0)));
    (cubes.len() >= FEWEST_BODIES).then(|| cubes.len() as f64 / cubes.volume_m3())
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

/// Root mean square of the corrections: metres, radians.
pub(crate) fn poses(stand: &Stand) -> Option<(f64, f64)> {
    let n = stand.nodes.len();
    if n < 5 {
        return None;
    }
    let sum = |from: usize| -> f64 {
        stand
            .nodes
            .iter()
            .map(|x| x.correction.fixed_rows::<3>(from).norm_squared())
            .sum::<f64>()
            / (3 * n) as f64
    };
    Some((sum(0).sqrt(), sum(3).sqrt()))
}
