//! Stems at the cutting plane.

use crate::chance::ln_normal;
use crate::facing::FacingBody;
use crate::surroundings::StemLine;
use crate::sweep::crossing;
use nalgebra::{Matrix3, Vector3};

/// A stem that runs along the plane more than this counts as this slope: its crossing is anywhere.
const STEEPEST: f64 = 20.0;

/// A stem at the cutting plane, tool frame.
pub(crate) struct Crossing {
    /// Where it crosses, as a share of the way from its top to the spur (the nearer end where it does not).
    pub t: f64,
    /// Distance from the tool's axis there.
    pub rho: f64,
    /// How that grows as the crossing moves: the direction away from the axis, and less the stem's slope along z.
    pub gradient: Vector3<f64>,
    /// How far its top lies behind the plane, and its spur in front.
    pub top_below: f64,
    pub spur_above: f64,
}

impl Crossing {
    /// Of a straight stem with the plane at `z`, tool frame. The crossing moves with the ends of the stem in proportion,
    /// and with their heights by the stem's slope.
    pub(crate) fn of(top: &Vector3<f64>, spur: &Vector3<f64>, z: f64) -> Self {
        let t = crossing(top, spur, z).unwrap_or(0.5).clamp(0.0, 1.0);
        let p = top + (spur - top) * t;
        let rho = (p.x * p.x + p.y * p.y).sqrt();
        let n = if rho > 1e-9 {
            Vector3::new(p.x / rho, p.y / rho, 0.0)
        } else {
            Vector3::x()
        };
        let rise = spur.z - top.z;
        let slope = n.dot(&(spur - top)) / if rise.abs() > 1e-6 { rise } else { 1e-6 };
        let gradient = n - Vector3::z() * slope.clamp(-STEEPEST, STEEPEST);
        Self {
            t,
            rho,
            gradient,
            top_below: z - top.z,
            spur_above: spur.z - z,
        }
    }

    /// Standard deviation of the distance from the axis, under those of the stem, the tool's rotation (orchard from
    /// tool) and variance.
    pub(crate) fn rho_sd(&self, stem: &StemLine, rotation: &Matrix3<f64>, tool_var: f64) -> f64 {
        let (t, near) = (self.t, 1.0 - self.t);
        let g = rotation * self.gradient;
        let top_var = (g.transpose() * stem.top_cov * g).x;
        let bow = 4.0 * t * near * stem.bow_m;
        let var = near * near * top_var
            + (t * t * stem.spur_var + tool_var) * g.norm_squared()
            + bow * bow;
        var.sqrt()
    }

    /// By how much the ends lie on different sides of the plane, whichever is in front.
    pub(crate) fn depth(&self) -> f64 {
        depth(self.top_below, self.spur_above)
    }

    /// ln of the probability that the fruit is behind the plane and the spur in front.
    pub(crate) fn ln_upright(&self, sd: &FacingBody) -> f64 {
        ln_normal(self.top_below / sd.top_sd) + ln_normal(self.spur_above / sd.spur_sd)
    }

    /// ln of the probability that it crosses, in the likelier sense.
    pub(crate) fn ln_crosses(&self, sd: &FacingBody) -> f64 {
        if self.top_below + self.spur_above >= 0.0 {
            self.ln_upright(sd)
        } else {
            ln_normal(-self.top_below / sd.top_sd) + ln_normal(-self.spur_above / sd.spur_sd)
        }
    }
}

fn depth(top_below: f64, spur_above: f64) -> f64 {
    top_below.min(spur_above).max(-top_below.max(spur_above))
}

/// [`Crossing::depth`] of a stem with the plane at `z`.
pub(crate) fn depth_of(top: &Vector3<f64>, spur: &Vector3<f64>, z: f64) -> f64 {
    depth(z - top.z, spur.z - z)
}
