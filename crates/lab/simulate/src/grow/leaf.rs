//! Leaves, and how clusters sway.

use super::polyline::across;
use crate::spec::{LeafSpec, WindSpec};
use crate::streams::Draw;
use corymb_model::frames::Orchard;
use corymb_model::{Direction, Point};
use nalgebra::Vector3;
use rand_chacha::ChaCha8Rng;

/// A leaf: a flat ellipse.
#[derive(Debug, Clone, PartialEq)]
pub struct TrueLeaf {
    /// Position of the cluster that it grows at.
    pub cluster_idx: usize,
    /// Centre at rest.
    pub centre: Point<Orchard>,
    /// Along its length.
    pub along: Direction<Orchard>,
    /// Across its surface.
    pub normal: Direction<Orchard>,
    /// Half of its length, metres.
    pub half_length_m: f64,
    /// Half of its width, metres.
    pub half_width_m: f64,
}

/// Leaves of one cluster, about its outward direction.
pub(super) fn leaves(
    spec: &LeafSpec,
    cluster_idx: usize,
    spur: &Vector3<f64>,
    outward: &Vector3<f64>,
    rng: &mut ChaCha8Rng,
) -> Vec<TrueLeaf> {
    let count = rng.count(spec.per_cluster);
    (0..count)
        .filter_map(|_| leaf(spec, cluster_idx, spur, outward, rng))
        .collect()
}

fn leaf(
    spec: &LeafSpec,
    cluster_idx: usize,
    spur: &Vector3<f64>,
    outward: &Vector3<f64>,
    rng: &mut ChaCha8Rng,
) -> Option<TrueLeaf> {
    let away = Direction::<Orchard>::of(outward + rng.normal3(0.7))?;
    let distance_m = 1e-3 * rng.between(spec.distance_mm);
    let half_length_m = 0.5e-3 * rng.between(spec.length_mm);
    // a leaf stands off roughly along its petiole and turns its upper side outwards or to the sky
    let along = Direction::of(away.xyz + rng.normal3(0.5))?;
    let (u, v) = across(&along.xyz);
    let turn = rng.between([0.0, std::f64::consts::TAU]);
    let normal = Direction::of(u * turn.cos() + v * turn.sin())?;
    Some(TrueLeaf {
        cluster_idx,
        centre: Point::from_vector(spur + away.xyz * distance_m),
        along,
        normal,
        half_length_m,
        half_width_m: half_length_m * spec.width_ratio,
    })
}

/// Horizontal motion of a cluster's bodies, metres over time.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sway {
    amplitude_m: f64,
    rate_rad_s: [f64; 2],
    phase: [f64; 2],
}

impl Sway {
    pub(super) fn new(spec: &WindSpec, rng: &mut ChaCha8Rng) -> Self {
        let mut rate = || std::f64::consts::TAU / (spec.period_s * rng.between([0.6, 1.6]));
        let rate_rad_s = [rate(), rate()];
        let phase = [0.0; 2].map(|_: f64| rng.between([0.0, std::f64::consts::TAU]));
        Self {
            amplitude_m: 1e-3 * spec.sway_mm * std::f64::consts::SQRT_2,
            rate_rad_s,
            phase,
        }
    }

    /// Displacement of a body at `time_s`.
    pub(crate) fn at(&self, time_s: f64) -> Vector3<f64> {
        let wave =
            |k: usize| self.amplitude_m * (self.rate_rad_s[k] * time_s + self.phase[k]).sin();
        Vector3::new(wave(0), wave(1), 0.0)
    }
}
