//! How a box edge errs: a Gaussian core and, on the side where something in front moves the edge inwards, a tail.
//!
//! With z the residual in standard deviations (positive: the box is larger than the sphere),
//! `f(z) = (1 - q - u) N(z) + q exp(z / s) / s [z < 0] + u / W`: q the share of occluded edges, s the mean depth of
//! occlusion, u a floor for gross errors over a width W.

/// Floor of gross errors and the width it is spread over, standard deviations.
const GROSS: (f64, f64) = (0.01, 60.0);
/// Standard deviations beyond which the core is nothing beside the floor.
const CORE_ENDS: f64 = 9.0;
const INV_SQRT_2PI: f64 = 0.398_942_280_401_432_7;

/// The error model of box edges.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EdgeModel {
    /// Standard deviation of the core, pixels.
    pub(crate) sigma_px: f64,
    /// Share of occluded edges.
    pub(crate) occluded: f64,
    /// Standard deviation per axis of what moves a body between images (wind, what is left of the poses), metres.
    pub(crate) motion_m: f64,
}

impl EdgeModel {
    /// Mean depth of an occlusion in standard deviations, for a body of this radius in the image.
    fn depth(&self, radius_px: f64) -> f64 {
        (0.35 * radius_px / self.sigma_px).max(2.0)
    }

    /// Standard deviation of an edge's residual in metres, where one pixel is `m_per_px`.
    pub(crate) fn sigma_m(&self, m_per_px: f64) -> f64 {
        let edge = self.sigma_px * m_per_px;
        (edge * edge + self.motion_m * self.motion_m).sqrt()
    }

    /// Density of a residual, and the share of it that the core explains.
    pub(crate) fn density(&self, z: f64, radius_px: f64) -> (f64, f64) {
        let core = if z.abs() < CORE_ENDS {
            (1.0 - self.occluded - GROSS.0) * INV_SQRT_2PI * (-0.5 * z * z).exp()
        } else {
            0.0
        };
        let tail = if z < 0.0 {
            let s = self.depth(radius_px);
            self.occluded * (z / s).exp() / s
        } else {
            0.0
        };
        let all = core + tail + GROSS.0 / GROSS.1;
        (all, core / all)
    }
}
