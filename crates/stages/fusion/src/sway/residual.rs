//! How far a matched box lies off its body, along axes that images have in common.

use crate::bodies::Placed;
use crate::edge_model::{EdgeModel, Stir};
use crate::observe::Observations;
use crate::predict::{Innovation, Seen};
use crate::register::OCCLUSION_SHIFT;
use nalgebra::{Vector2, Vector3};

/// Residuals beyond this many standard deviations are cut to it: some matches are wrong.
const CLIP: f64 = 3.0;
/// Cosine between the level axes of two images above which they look the same way.
pub(super) const LIKE: f64 = 0.8;

/// Axes of an image across the line of sight: level, and as upright as the image lets it be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Axes {
    pub(super) upright: Vector2<f64>,
    /// Squared cosine of the upright axis with the plumb line.
    pub(super) plumb_share: f64,
}

impl Axes {
    pub(super) fn new(placed: &Placed) -> Self {
        let down: Vector2<f64> = placed.down().xy();
        let n = down.norm();
        Self {
            upright: if n > 1e-3 { down / n } else { Vector2::y() },
            plumb_share: n * n,
        }
    }

    pub(super) fn level(&self) -> Vector2<f64> {
        Vector2::new(self.upright.y, -self.upright.x)
    }

    /// Variances of a motion along the level axis and the upright one.
    pub(super) fn variances(&self, stir: Stir) -> Vector2<f64> {
        Vector2::new(stir.level_m2, stir.along(self.plumb_share))
    }

    pub(super) fn along_axes(&self, y: &Vector2<f64>) -> Vector2<f64> {
        Vector2::new(y.dot(&self.level()), y.dot(&self.upright))
    }

    pub(super) fn into_image(self, y: &Vector2<f64>) -> Vector2<f64> {
        self.level() * y.x + self.upright * y.y
    }
}

/// A residual of a matched body across the line of sight.
#[derive(Debug, Clone)]
pub(super) struct Residual {
    pub(super) body: usize,
    pub(super) frame: usize,
    /// Centre of the body, orchard frame.
    pub(super) at: Vector3<f64>,
    /// Level axis of the image, orchard frame.
    pub(super) level: Vector3<f64>,
    /// Along the level axis and the upright one, metres.
    pub(super) y: Vector2<f64>,
    pub(super) noise_m2: f64,
}

impl Residual {
    /// Clipped, so that no wrong match outweighs all others.
    pub(super) fn new(
        obs: &Observations,
        box_idx: usize,
        seen: &Seen,
        body: usize,
        model: &EdgeModel,
        axes: &Axes,
        placed: &Placed,
    ) -> Self {
        let at_rest = EdgeModel {
            stir: Stir::alike(0.0),
            ..*model
        };
        let b = &obs.boxes[box_idx];
        let inn = Innovation::new(b, seen, &at_rest, OCCLUSION_SHIFT);
        let s = inn.covariance(seen);
        let noise_m2 = 0.5 * (s[(0, 0)] + s[(1, 1)]);
        let most = (axes.variances(model.stir)).map(|m2| CLIP * (noise_m2 + m2).sqrt());
        // the box lies where the body is: its displacement is against the prediction's error
        let y = axes.along_axes(&-Vector2::new(inn.y.x, inn.y.y));
        Self {
            body,
            frame: b.frame,
            at: placed.r * seen.c + placed.t,
            level: placed.r * axes.level().push(0.0),
            y: y.zip_map(&most, |v, m| v.clamp(-m, m)),
            noise_m2,
        }
    }
}
