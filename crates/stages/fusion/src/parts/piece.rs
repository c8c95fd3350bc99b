//! A stem as a straight piece against a box: what the four edges say.
//!
//! The box of a straight piece is spanned by the images of its two ends, which settles the question of the diagonal: a
//! piece in space has one. Something in front of the stem moves edges *inwards* only, so each edge has a Gaussian core,
//! an exponential tail on the hidden side and a short one outside.

use super::PartsConfig;
use super::sights::{Image, PartBox, Sight};
use nalgebra::{Vector2, Vector3};

/// Standard deviations beyond the outline where an edge stops counting as noise.
const OUTSIDE: f64 = 3.5;
/// Range of a chance edge, metres: where an edge of a box that shows another stem may lie.
const CHANCE_RANGE_M: f64 = 0.03;

/// The edge model of one sight.
#[derive(Clone, Copy)]
pub(super) struct EdgeModel {
    /// Half of a stem's thickness on the plane z = 1.
    pub(super) margin: f64,
    /// Standard deviation of an edge on the plane z = 1.
    pub(super) sigma: f64,
    /// Standard deviations where the hidden tail takes over.
    core: f64,
    /// Slope of that tail a standard deviation.
    slope: f64,
    /// What four perfect edges are worth over four chance ones, nats.
    pub(super) worth: f64,
}

impl EdgeModel {
    /// The model at a sight's distance.
    pub(super) fn new(sight: &Sight, image: &Image, config: &PartsConfig) -> EdgeModel {
        let z = sight.p_in_camera.z;
        let bow = config.bow_m / z;
        let sigma = (image.edge.powi(2) + sight.local.powi(2) + bow * bow)
            .sqrt()
            .max(1e-9);
        let tail = config.hidden_length_m / z;
        let root = (2.0 * std::f64::consts::PI).sqrt();
        let share = config.hidden_share.clamp(1e-6, 0.9);
        let ratio = (1.0 - share) / share * tail / (sigma * root);
        let core = (2.0 * ratio.max(1.0).ln()).sqrt().max(1.0);
        let worth = 4.0 * (CHANCE_RANGE_M / z / (sigma * root)).max(1.0).ln();
        EdgeModel {
            margin: config.stem_half_width_m / z,
            sigma,
            core,
            slope: sigma / tail,
            worth,
        }
    }

    /// Loss of an edge that lies `inwards` standard deviations inside the predicted one, and its weight as a least
    /// squares residual.
    pub(super) fn loss(&self, inwards: f64) -> (f64, f64) {
        if inwards > self.core {
            let loss = 0.5 * self.core * self.core + self.slope * (inwards - self.core);
            (loss, (self.slope / inwards).min(1.0))
        } else if inwards < -OUTSIDE {
            (OUTSIDE * (-inwards - 0.5 * OUTSIDE), OUTSIDE / -inwards)
        } else {
            (0.5 * inwards * inwards, 1.0)
        }
    }

    /// How far inside the predicted edges (left, top, right, bottom) the box's lie, in standard deviations.
    pub(super) fn inwards(
        &self,
        low: &Vector2<f64>,
        high: &Vector2<f64>,
        seen: &PartBox,
    ) -> [f64; 4] {
        let (m, s) = (self.margin, 1.0 / self.sigma);
        [
            (seen.low.x - low.x + m) * s,
            (seen.low.y - low.y + m) * s,
            (high.x + m - seen.high.x) * s,
            (high.y + m - seen.high.y) * s,
        ]
    }

    /// Log-likelihood of the box as the image of a piece between two points of the plane, over that of a chance box.
    pub(super) fn gain(&self, a: &Vector2<f64>, b: &Vector2<f64>, seen: &PartBox) -> f64 {
        let inwards = self.inwards(&a.inf(b), &a.sup(b), seen);
        self.worth - inwards.iter().map(|&e| self.loss(e).0).sum::<f64>()
    }
}

/// Offset of the stem's near end from the centre when only the far end is known: straight towards it.
pub(super) fn radial_top(
    far_offset: &Vector3<f64>,
    radius_m: f64,
    config: &PartsConfig,
) -> Vector3<f64> {
    let norm = far_offset.norm().max(1e-9);
    far_offset * (radius_m * config.length_over_diameter / norm)
}
