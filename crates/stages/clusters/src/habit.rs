//! How fruit hangs in this run: the parameters of the model, as stated and then as learned.

use crate::config::Config;
use crate::wood::{Foot, Segment};
use nalgebra::{Matrix3, Vector3};

/// Largest number of fruit with a share of its own; larger clusters count as this many and pay for each further fruit.
pub(crate) const MOST_COUNTED: usize = 8;
/// What a fruit beyond the usual number costs a cluster, nats.
pub(crate) const CROWDING: f64 = 4.0;
/// A spur is taken to be no nearer to its limb's axis than this, metres: the density has a pole there.
const LEAST_OFF_AXIS_M: f64 = 0.005;

/// The model's parameters.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Habit {
    /// Length of stems: mean, standard deviation, metres.
    pub(crate) length_m: [f64; 2],
    /// How far stems run above their chord, in lengths.
    pub(crate) sag: f64,
    /// Distance of spurs from the surface of their limb: mean, standard deviation with the limb's own error, metres.
    pub(crate) height_m: [f64; 2],
    /// Spurs a metre of limb.
    pub(crate) spurs_per_m: f64,
    /// Share of clusters with 1, 2, .. fruit.
    pub(crate) sizes: [f64; MOST_COUNTED],
    /// Concentration of stems about the outward direction of their limb (von Mises-Fisher).
    pub(crate) outward: f64,
}

impl Habit {
    /// As the settings have it.
    pub(crate) fn prior(config: &Config, limb_m: f64) -> Habit {
        let mut sizes = [0.02; MOST_COUNTED];
        let usual = config.usual_fruit_at_most.clamp(1, MOST_COUNTED);
        // eight at most
        sizes[..usual].fill((1.0 - 0.02 * (MOST_COUNTED - usual) as f64) / usual as f64);
        Habit {
            length_m: [config.stem_length_m, config.stem_length_deviation_m],
            sag: 0.0,
            height_m: [
                config.spur_height_m,
                config.spur_height_deviation_m.hypot(limb_m),
            ],
            spurs_per_m: 1.0 / config.spur_spacing_m,
            sizes,
            outward: 2.0,
        }
    }

    /// Mean number of fruit of a cluster.
    pub(crate) fn usual_number(&self) -> f64 {
        // small counts
        let mean: f64 = self
            .sizes
            .iter()
            .enumerate()
            .map(|(k, s)| (k + 1) as f64 * s)
            .sum();
        mean.max(1.0)
    }

    /// What a cluster of `n` fruit costs for its number: the number's share, times the ways to name them, against the
    /// run's mean number for each.
    pub(crate) fn number_cost(&self, n: usize, config: &Config) -> f64 {
        let mean = self.usual_number();
        let counted = n.clamp(1, MOST_COUNTED);
        // small counts
        let names: f64 = (1..=counted).map(|k| (k as f64 / mean).ln()).sum();
        // small counts
        let beyond = n.saturating_sub(config.usual_fruit_at_most.max(1)) as f64;
        -self.sizes[counted - 1].max(1e-6).ln() - names + CROWDING * beyond
    }

    /// Direction in which a stem with chord direction `along` (spur to fruit, unit) arrives at its fruit: its weight
    /// bends it.
    pub(crate) fn arriving(&self, along: &Vector3<f64>) -> Vector3<f64> {
        let rise = Vector3::z() - along * along.z;
        (along - rise * (4.0 * self.sag)).normalize()
    }

    /// Log density (a metre cubed) of spurs of one limb at a point that lies to it as `foot` says.
    pub(crate) fn limb_density(&self, foot: &Foot) -> f64 {
        let [mean, deviation] = self.height_m;
        let z = (foot.height_m - mean) / deviation;
        let root = (2.0 * std::f64::consts::PI).sqrt();
        let around = 2.0 * std::f64::consts::PI * foot.off_axis_m.max(LEAST_OFF_AXIS_M);
        self.spurs_per_m.ln() - 0.5 * z * z - (deviation * root).ln() - around.ln()
    }
}

/// Where spurs are, about a point.
pub(crate) struct SpurDensity {
    /// Negative log of the density, a metre cubed.
    pub(crate) cost: f64,
    /// Slope of `cost`.
    pub(crate) gradient: Vector3<f64>,
    /// Curvature of `cost`, positive semidefinite.
    pub(crate) curvature: Matrix3<f64>,
    /// How the point lies to the limb that contributes most.
    pub(crate) foot: Option<Foot>,
}

impl Habit {
    /// The density of spurs at `p`: of the limbs nearby, and of what no limb explains.
    pub(crate) fn spur_density(
        &self,
        p: &Vector3<f64>,
        near: &[Segment],
        config: &Config,
    ) -> SpurDensity {
        let off_limb = if near.is_empty() {
            -config.spur_volume_m3.ln()
        } else {
            // as if spread over a tube of the longest stem's radius
            let tube = std::f64::consts::PI * config.longest_stem_m.powi(2);
            (config.off_limb_share.max(1e-6) * self.spurs_per_m / tube).ln()
        };
        let feet = feet(p, near);
        let logs: Vec<f64> = feet.iter().map(|f| self.limb_density(f)).collect();
        let most = logs.iter().copied().fold(off_limb, f64::max);
        let total = (off_limb - most).exp() + logs.iter().map(|l| (l - most).exp()).sum::<f64>();
        let mut out = SpurDensity {
            cost: -(most + total.ln()),
            gradient: Vector3::zeros(),
            curvature: Matrix3::zeros(),
            foot: None,
        };
        let best = logs.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((k, log)) = best {
            let (foot, share) = (feet[k], (log - most).exp() / total);
            let precision = share / self.height_m[1].powi(2);
            out.gradient = foot.outwards * (precision * (foot.height_m - self.height_m[0]));
            out.curvature = foot.outwards * foot.outwards.transpose() * precision;
            out.foot = Some(foot);
        }
        out
    }
}

/// The foot on each limb of `near`, by limb.
pub(crate) fn feet(p: &Vector3<f64>, near: &[Segment]) -> Vec<Foot> {
    let mut out: Vec<Foot> = Vec::with_capacity(near.len());
    for foot in near.iter().map(|s| s.foot(p)) {
        match out.last_mut().filter(|last| last.limb == foot.limb) {
            Some(last) if foot.off_axis_m < last.off_axis_m => *last = foot,
            Some(_) => {}
            None => out.push(foot),
        }
    }
    out
}
