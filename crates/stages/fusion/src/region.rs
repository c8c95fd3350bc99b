//! The stated region of a body: its fit's covariance, and what does not average out over its images.
//!
//! Errors that several images share move the estimate by `cov B cov`, with `B` the sum over pairs of edges of their
//! weighted rows times the covariance of their errors (the "sandwich" of P. J. Huber, Proc. 5th Berkeley Symposium I,
//! 1967, p. 221, with a model for its middle). Three are modelled:
//! - the part of a detector's error that stays with a body, a camera and an edge;
//! - what hides an edge and is taken for the edge. It stays while the camera moves little, and it is the likelier the
//!   less of the body is seen: a body missed in most of its images is mostly behind something. An edge is hidden with
//!   that share, and goes unnoticed with it once more, where the others are no better;
//! - motion of the body, which a fit takes for place and depth as far as it is slow ([`crate::motion`]).

use crate::bodies::{Landmark, radius_px, residuals_at_rest};
use crate::edge_model::EdgeModel;
use crate::motion::Motion;
use crate::nodes::Stand;
use crate::observe::Observations;
use nalgebra::{Matrix3, Matrix4, Matrix4x3, Vector3};

/// How far a camera moves until other things hide an edge, metres: fruit at arm's length shifts by its own radius
/// against a leaf a hand in front of it.
const OTHER_COVER_M: f64 = 0.07;
/// Images that a body is thought to have had at the rate of all, before its own.
const PRIOR_VIEWS: f64 = 4.0;
/// Quantile of the bodies' rates that stands for plain view.
const PLAIN: f64 = 0.9;

/// What a run says of errors that images share.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lasting {
    pub(crate) model: EdgeModel,
    /// Part of an edge's error that stays with body, camera and edge, standard deviation, pixels.
    pub(crate) constant_px: f64,
    pub(crate) motion: Motion,
    /// Share of images in which a body in plain view is boxed, and that of all bodies.
    pub(crate) plain_rate: f64,
    pub(crate) mean_rate: f64,
}

impl Lasting {
    /// Share of the images of a body in which something is before it.
    fn hidden(&self, l: &Landmark) -> f64 {
        let seen = l.boxes.len() as f64 + PRIOR_VIEWS * self.mean_rate;
        let rate = seen / ((l.boxes.len() + l.missed) as f64 + PRIOR_VIEWS);
        (1.0 - rate / self.plain_rate).max(0.0)
    }
}

/// The rate of bodies in plain view.
pub(crate) fn plain_rate(landmarks: &[Landmark]) -> Option<f64> {
    let mut rates: Vec<f64> = landmarks
        .iter()
        .filter(|l| l.boxes.len() > 1 && l.boxes.len() + l.missed > 2)
        .map(|l| l.boxes.len() as f64 / (l.boxes.len() + l.missed) as f64)
        .collect();
    rates.sort_by(f64::total_cmp);
    rates.get((rates.len() as f64 * PLAIN) as usize).copied()
}

/// The rows of one image's box.
struct Rows {
    camera: usize,
    at: Vector3<f64>,
    time_s: f64,
    /// A column an edge: how one metre of error moves the gradient.
    by_error: Matrix4<f64>,
    /// The same for one metre of motion along each axis.
    by_motion: Matrix4x3<f64>,
    m_per_px: f64,
    /// Standard deviation of what hides an edge unnoticed, metres.
    cover_m: f64,
}

/// Covariance of centre and radius with what lasts. O(boxes squared).
pub(crate) fn covariance(
    obs: &Observations,
    stand: &Stand,
    l: &Landmark,
    lasting: &Lasting,
) -> Matrix4<f64> {
    let hidden = lasting.hidden(l);
    let rows: Vec<Rows> = l
        .boxes
        .iter()
        .filter_map(|&i| rows_of(obs, stand, l, i, hidden, lasting))
        .collect();
    let mut b = Matrix4::zeros();
    for (k, p) in rows.iter().enumerate() {
        for (j, q) in rows[..=k].iter().enumerate() {
            let mut m = Matrix4::zeros();
            if p.camera == q.camera {
                let d2 = (p.at - q.at).norm_squared() / (OTHER_COVER_M * OTHER_COVER_M);
                let variance = lasting.constant_px.powi(2) * p.m_per_px * q.m_per_px
                    + p.cover_m * q.cover_m * (-0.5 * d2).exp();
                m += p.by_error * q.by_error.transpose() * variance;
            }
            if lasting.motion.matters() {
                let between = Matrix3::from_diagonal(&lasting.motion.between(p.time_s - q.time_s));
                m += p.by_motion * between * q.by_motion.transpose();
            }
            b += m;
            if j < k {
                b += m.transpose();
            }
        }
    }
    l.cov + l.cov * b * l.cov
}

fn rows_of(
    obs: &Observations,
    stand: &Stand,
    l: &Landmark,
    i: usize,
    hidden: f64,
    lasting: &Lasting,
) -> Option<Rows> {
    let b = &obs.boxes[i];
    let placed = &stand.placed[b.frame];
    let c = placed.into_camera(&l.centre());
    let px = radius_px(b, c.norm(), l.radius());
    let model = &lasting.model;
    let m_per_px = c.norm() * (b.rad_per_px[0] + b.rad_per_px[1]) * 0.5;
    let mut rows = Rows {
        camera: stand.camera_of[b.frame],
        at: placed.t,
        time_s: stand.nodes.get(stand.node_of[b.frame]?)?.time_s,
        by_error: Matrix4::zeros(),
        by_motion: Matrix4x3::zeros(),
        m_per_px,
        // second moment of an exponential depth
        cover_m: hidden * std::f64::consts::SQRT_2 * model.depth_px(px) * m_per_px,
    };
    let law = model.at(px);
    let all = residuals_at_rest(b, &c, l.radius(), model);
    for (k, e) in all.iter().enumerate().filter(|(k, _)| b.usable[*k]) {
        let core = law.core_share(e.metres / e.sigma_m);
        let normal = placed.r * b.normals[k];
        let row = normal.push(-1.0) * (core / (e.sigma_m * e.sigma_m));
        rows.by_error.set_column(k, &row);
        rows.by_motion += row * normal.transpose();
    }
    Some(rows)
}
