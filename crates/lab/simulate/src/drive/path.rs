//! Paths of the rig.

use crate::spec::{AlongRow, Facing, Free, Motion, PassSpec};
use crate::streams::{Draw, Purpose, Streams};
use corymb_model::Pose;
use corymb_model::frames::{Orchard, Rig};
use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion, Vector3};
use rand_chacha::ChaCha8Rng;

/// Sinusoids in a wave.
const PARTS: usize = 3;

/// The path of one pass.
#[derive(Debug, Clone)]
pub(crate) struct Path {
    start_s: f64,
    span_s: f64,
    motion: Motion,
    waves: Vec<Wave>,
}

/// A sum of sinusoids of unequal periods with standard deviation 1.
#[derive(Debug, Clone)]
struct Wave {
    parts: [(f64, f64); PARTS],
}

impl Wave {
    fn new(period_s: f64, rng: &mut ChaCha8Rng) -> Self {
        let part = |_| {
            let rate = std::f64::consts::TAU / (period_s * rng.between([0.6, 1.7]));
            (rate, rng.between([0.0, std::f64::consts::TAU]))
        };
        Self {
            parts: [0; PARTS].map(part),
        }
    }

    fn at(&self, t: f64) -> f64 {
        let sum: f64 = self
            .parts
            .iter()
            .map(|(rate, phase)| (rate * t + phase).sin())
            .sum();
        sum * (2.0 / PARTS as f64).sqrt()
    }

    /// Squeezed into -1 to 1.
    fn within_one(&self, t: f64) -> f64 {
        self.at(t) / (2.0 * PARTS as f64).sqrt()
    }
}

impl Path {
    pub(crate) fn new(pass: &PassSpec, streams: &Streams, pass_idx: u64) -> Self {
        let mut rng = streams.rng(Purpose::Motion, pass_idx, 0);
        let (period_s, count) = match &pass.motion {
            Motion::AlongRow(m) => (m.sway_period_s, 6),
            Motion::Free(m) => (m.period_s, 7),
        };
        let mut waves: Vec<Wave> = (0..count).map(|_| Wave::new(period_s, &mut rng)).collect();
        if let Motion::AlongRow(m) = &pass.motion {
            waves.push(Wave::new(m.speed_period_s, &mut rng));
        }
        let span_s = f64::from(pass.exposures.saturating_sub(1)) / pass.rate_hz;
        Self {
            start_s: pass.start_s,
            span_s,
            motion: pass.motion.clone(),
            waves,
        }
    }

    /// Where the rig is at a time of the poses' clock.
    pub(crate) fn at(&self, time_s: f64) -> Pose<Orchard, Rig> {
        let t = time_s - self.start_s;
        Pose::from_isometry(match &self.motion {
            Motion::AlongRow(m) => self.along_row(m, t),
            Motion::Free(m) => self.free(m, t),
        })
    }

    /// Where the pass is about halfway, metres.
    pub(crate) fn middle_m(&self) -> Vector3<f64> {
        self.at(self.start_s + 0.5 * self.span_s).origin().xyz
    }

    fn along_row(&self, m: &AlongRow, t: f64) -> Isometry3<f64> {
        let sway = self.vector(0, t) * (1e-3 * m.sway_mm);
        let rock = self.vector(3, t) * m.sway_deg.to_radians();
        // the speed is v (1 + wave cos(..)); this is its integral from 0
        let (rate, phase) = self.waves[6].parts[0];
        let lead_s = m.speed_wave / rate * ((rate * t + phase).sin() - phase.sin());
        let position = Vector3::from(m.from_m) + Vector3::x() * (m.speed_m_s * (t + lead_s)) + sway;
        let yaw = match m.facing {
            Facing::PlusY => UnitQuaternion::identity(),
            Facing::MinusY => {
                UnitQuaternion::from_axis_angle(&Vector3::z_axis(), std::f64::consts::PI)
            }
        };
        Isometry3::from_parts(
            Translation3::from(position),
            yaw * UnitQuaternion::from_scaled_axis(rock),
        )
    }

    fn free(&self, m: &Free, t: f64) -> Isometry3<f64> {
        let wander = |k: usize| Vector3::from_fn(|i, _| self.waves[k + i].within_one(t));
        let position = Vector3::from(m.from_m) + wander(0).component_mul(&Vector3::from(m.reach_m));
        let target =
            Vector3::from(m.look_at_m) + wander(3).component_mul(&Vector3::from(m.look_reach_m));
        let roll = self.waves[6].at(t) * m.roll_deg.to_radians();
        let rotation = looking(&(target - position))
            * UnitQuaternion::from_axis_angle(&Vector3::y_axis(), roll);
        Isometry3::from_parts(Translation3::from(position), rotation)
    }

    fn vector(&self, first: usize, t: f64) -> Vector3<f64> {
        Vector3::from_fn(|i, _| self.waves[first + i].at(t))
    }
}

/// The rotation of a rig whose +y points along `forward` and whose +z is as far up as it can be.
fn looking(forward: &Vector3<f64>) -> UnitQuaternion<f64> {
    let y = forward.try_normalize(1e-9).unwrap_or_else(Vector3::y);
    let x = y
        .cross(&Vector3::z())
        .try_normalize(1e-9)
        .unwrap_or_else(Vector3::x);
    let z = x.cross(&y);
    let columns = Matrix3::from_columns(&[x, y, z]);
    UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(columns))
}
