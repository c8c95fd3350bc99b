//! Depth on boxes: where a detector tells how far its object is, that counts as far as the run shows it to be true.
//!
//! A depth is the camera z of the nearest point of the object: `c.z - r` for a sphere anywhere in the image, linear in
//! centre and radius. It errs by a Gaussian about a common offset, or it is of something else: uniform over a width W.
//! Offset, deviation and share of outliers come from the run by expectation-maximisation (Dempster, Laird and Rubin, J.
//! Royal Statistical Society B 39, 1977), with the poses for scale.

use crate::bodies::Landmark;
use crate::nodes::Stand;
use crate::observe::Observations;
use crate::predict::Seen;
use nalgebra::{Matrix4, Vector3};

/// Width over which outliers and the depths of false boxes are spread, metres.
const WIDTH_M: f64 = 1.0;
/// Before the run has told: nothing is listened to.
const DEAF_LAW: DepthLaw = DepthLaw {
    offset_m: 0.0,
    sigma_m: 0.02,
    outliers: 1.0,
};
/// Where expectation-maximisation starts from.
const FIRST_OUTLIERS: f64 = 0.2;
/// A common offset up to this may be the map's own, metres: poses alone hold its distance.
const OF_THE_MAP_M: f64 = 0.003;
/// Least deviation, metres: no sensor is better on something so small and round.
const LEAST_M: f64 = 0.0005;
/// Depths from which a law is learned, at least.
const FEWEST: usize = 50;
/// Boxes of a body whose depths count for learning, and where too few bodies have so many.
const FEWEST_BOXES: [usize; 2] = [4, 2];
/// Share of outliers and deviation, metres, up to which depths are worth a first pass anew.
const GOOD: (f64, f64) = (0.3, 0.05);
/// Share of outliers at which depths are not listened to any more.
const DEAF: f64 = 0.7;
const STEPS: usize = 25;
/// Absolute value below which a quarter of a standard normal variable lies.
const NORMAL_QUARTER: f64 = 0.318_6;

/// How the depths of a run err.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DepthLaw {
    offset_m: f64,
    sigma_m: f64,
    outliers: f64,
}

impl DepthLaw {
    fn is_good(self) -> bool {
        self.outliers < GOOD.0 && self.sigma_m < GOOD.1
    }
}

/// A depth and how it errs.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Depth {
    /// As given, metres.
    pub(crate) stated_m: f64,
    law: DepthLaw,
}

impl Depth {
    pub(crate) fn new(stated_m: f64) -> Self {
        Self {
            stated_m,
            law: DEAF_LAW,
        }
    }

    /// Error of a body in the camera frame against the depth, metres: its derivative by centre and radius is
    /// (0, 0, 1, -1).
    pub(crate) fn residual_m(&self, c_in_camera: &Vector3<f64>, radius_m: f64) -> f64 {
        c_in_camera.z - radius_m - (self.stated_m - self.law.offset_m)
    }

    /// Densities of a residual, per metre: as a good depth, and as one of something else.
    fn densities(&self, residual_m: f64, extra_m2: f64) -> (f64, f64) {
        let variance = self.law.sigma_m * self.law.sigma_m + extra_m2;
        let core = (-0.5 * residual_m * residual_m / variance).exp()
            / (variance * std::f64::consts::TAU).sqrt();
        (
            (1.0 - self.law.outliers) * core,
            self.law.outliers / WIDTH_M,
        )
    }

    /// Weight of the residual in a fit, with `extra_m2` what is unknown of the body in this direction.
    pub(crate) fn weight(&self, residual_m: f64, extra_m2: f64) -> f64 {
        if self.law.outliers >= DEAF {
            return 0.0;
        }
        let (core, other) = self.densities(residual_m, extra_m2);
        core / (core + other) / (self.law.sigma_m * self.law.sigma_m)
    }

    /// Log likelihood of the depth as that of a body over that of a false box; `motion_m2` is the variance of
    /// where the body is in this image.
    pub(crate) fn gain(&self, seen: &Seen, motion_m2: f64) -> f64 {
        if self.law.outliers >= DEAF {
            return 0.0;
        }
        let unknown = along_m2(&seen.cov) + motion_m2;
        let residual_m = self.residual_m(&seen.c, seen.radius_m);
        let (core, other) = self.densities(residual_m, unknown);
        ((core + other) * WIDTH_M).ln()
    }
}

/// Variance of `c.z - r`, from the covariance of centre and radius in the camera frame.
fn along_m2(cov: &Matrix4<f64>) -> f64 {
    (cov[(2, 2)] - 2.0 * cov[(2, 3)] + cov[(3, 3)]).max(0.0)
}

/// Learns from well-seen bodies how depths err, and tells every box. Returns whether they are good enough to begin anew with.
/// O(boxes log boxes).
pub(crate) fn learn(obs: &mut Observations, stand: &Stand, landmarks: &[Landmark]) -> bool {
    let of = |fewest| law_of(&errors(obs, stand, landmarks, fewest));
    let Some(law) = FEWEST_BOXES.into_iter().find_map(of) else {
        return false;
    };
    for b in &mut obs.boxes {
        if let Some(depth) = &mut b.depth {
            depth.law = law;
        }
    }
    law.is_good()
}

/// How far depths are off what the bodies say.
fn errors(
    obs: &Observations,
    stand: &Stand,
    landmarks: &[Landmark],
    fewest_boxes: usize,
) -> Vec<f64> {
    let mut off = Vec::new();
    for l in landmarks.iter().filter(|l| l.boxes.len() >= fewest_boxes) {
        for b in l.boxes.iter().map(|&i| &obs.boxes[i]) {
            if let Some(depth) = b.depth {
                let c = stand.placed[b.frame].into_camera(&l.centre());
                off.push(depth.stated_m - (c.z - l.radius()));
            }
        }
    }
    off
}

/// The law under which errors are likeliest.
fn law_of(off_m: &[f64]) -> Option<DepthLaw> {
    if off_m.len() < FEWEST {
        return None;
    }
    let mut sorted = off_m.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    // the shortest half holds the good ones where they are the most (Rousseeuw, J. American Statistical Association 79,
    // 1984)
    let shortest = (0..=sorted.len() - 1 - half)
        .min_by(|&a, &b| {
            let width = |k: usize| sorted[k + half] - sorted[k];
            width(a).total_cmp(&width(b)).then(a.cmp(&b))
        })
        .unwrap_or(0);
    let middle = sorted[shortest + half / 2];
    let mut from_middle: Vec<f64> = sorted.iter().map(|v| (v - middle).abs()).collect();
    from_middle.sort_by(f64::total_cmp);
    let mut law = DepthLaw {
        offset_m: middle,
        sigma_m: (from_middle[from_middle.len() / 4] / NORMAL_QUARTER).max(LEAST_M),
        outliers: FIRST_OUTLIERS,
    };
    for _ in 0..STEPS {
        let (mut w_all, mut w_off, mut w_square) = (0.0, 0.0, 0.0);
        for v in off_m {
            let e = v - law.offset_m;
            let (core, other) = Depth { stated_m: 0.0, law }.densities(e, 0.0);
            let w = core / (core + other);
            w_all += w;
            w_off += w * e;
            w_square += w * e * e;
        }
        if w_all < 1.0 {
            // nothing is left that agrees
            law.outliers = 1.0;
            return Some(law);
        }
        let shift = w_off / w_all;
        law = DepthLaw {
            offset_m: law.offset_m + shift,
            sigma_m: (w_square / w_all - shift * shift)
                .max(0.0)
                .sqrt()
                .max(LEAST_M),
            outliers: (1.0 - w_all / off_m.len() as f64).clamp(0.01, 1.0),
        };
    }
    let left_m = law.offset_m.clamp(-OF_THE_MAP_M, OF_THE_MAP_M);
    Some(DepthLaw {
        offset_m: law.offset_m - left_m,
        sigma_m: law.sigma_m.hypot(left_m),
        ..law
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles of a normal variable, by a logistic curve that is near enough.
    fn normal(k: usize, n: usize) -> f64 {
        let p = (k as f64 + 0.5) / n as f64;
        (p / (1.0 - p)).ln() / 1.702
    }

    fn some_errors(good: usize, bad: usize) -> Vec<f64> {
        let good = (0..good).map(|k| 0.012 + 0.005 * normal(k, good));
        let far = (0..bad).map(|k| 0.06 + 0.55 * (k as f64 + 0.5) / bad as f64);
        good.chain(far).collect()
    }

    #[test]
    fn a_law_is_found_under_outliers_up_to_a_half() {
        for (good, bad) in [(400, 0), (360, 40), (220, 180)] {
            let law = law_of(&some_errors(good, bad)).unwrap();
            assert!(
                (law.offset_m - 0.012).abs() < OF_THE_MAP_M + 0.001,
                "{law:?}"
            );
            assert!((0.004..0.007).contains(&law.sigma_m), "{law:?}");
            let share = bad as f64 / (good + bad) as f64;
            assert!((law.outliers - share).abs() < 0.04, "{law:?}");
        }
        assert!(law_of(&some_errors(10, 0)).is_none());
    }

    #[test]
    fn depths_that_tell_nothing_weigh_nothing() {
        let law = law_of(&some_errors(0, 400)).unwrap();
        let depth = Depth { stated_m: 0.7, law };
        let good = Depth {
            stated_m: 0.7,
            law: law_of(&some_errors(400, 0)).unwrap(),
        };
        assert!(depth.weight(0.0, 0.0) < 1e-2 * good.weight(0.0, 0.0));
        assert!(good.weight(0.2, 0.0) < 1e-6 * good.weight(0.0, 0.0));
        assert!(
            good.weight(0.2, 0.01) > 0.1 * good.weight(0.0, 0.0),
            "a body that may be anywhere"
        );
    }
}
