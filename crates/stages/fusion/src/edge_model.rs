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

/// Variance of what moves a body between images (wind, what is left of the poses), square metres: along any level
/// direction, and along the plumb line. What hangs sways level.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stir {
    pub(crate) level_m2: f64,
    pub(crate) plumb_m2: f64,
}

impl Stir {
    /// The same standard deviation in all directions.
    pub(crate) const fn alike(sd_m: f64) -> Self {
        let m2 = sd_m * sd_m;
        Self {
            level_m2: m2,
            plumb_m2: m2,
        }
    }

    /// Variance along a direction whose squared cosine with the plumb line is given.
    pub(crate) fn along(self, plumb_share: f64) -> f64 {
        self.level_m2 + (self.plumb_m2 - self.level_m2) * plumb_share
    }

    /// The greatest standard deviation, metres.
    pub(crate) fn most_m(self) -> f64 {
        self.level_m2.max(self.plumb_m2).sqrt()
    }

    /// Root mean square over the three axes, metres.
    pub(crate) fn mean_m(self) -> f64 {
        ((2.0 * self.level_m2 + self.plumb_m2) / 3.0).sqrt()
    }
}

/// The error model of box edges.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EdgeModel {
    /// Standard deviation of the core, pixels.
    pub(crate) sigma_px: f64,
    /// Share of occluded edges.
    pub(crate) occluded: f64,
    pub(crate) stir: Stir,
}

impl EdgeModel {
    /// How the edges of a body err that has this radius in the image.
    pub(crate) fn at(&self, radius_px: f64) -> EdgeLaw {
        let per_depth = self.sigma_px / self.depth_px(radius_px);
        EdgeLaw {
            core: (1.0 - self.occluded - GROSS.0) * INV_SQRT_2PI,
            tail: self.occluded * per_depth,
            per_depth,
        }
    }

    /// Mean depth of an occlusion, pixels.
    pub(crate) fn depth_px(&self, radius_px: f64) -> f64 {
        (0.35 * radius_px).max(2.0 * self.sigma_px)
    }

    /// Standard deviation of an edge's residual in metres, where one pixel is `m_per_px`, for an edge whose normal has
    /// this squared cosine with the plumb line.
    pub(crate) fn sigma_m(&self, m_per_px: f64, plumb_share: f64) -> f64 {
        self.variance_m2(m_per_px, plumb_share).sqrt()
    }

    /// The square of [`EdgeModel::sigma_m`].
    pub(crate) fn variance_m2(&self, m_per_px: f64, plumb_share: f64) -> f64 {
        let edge = self.sigma_px * m_per_px;
        edge * edge + self.stir.along(plumb_share)
    }
}

/// The law of one body's edges in one image.
#[derive(Debug, Clone, Copy)]
pub(crate) struct EdgeLaw {
    core: f64,
    tail: f64,
    /// One over the mean depth of an occlusion, standard deviations.
    per_depth: f64,
}

impl EdgeLaw {
    /// Density of a residual `z` in standard deviations: of the core, and of all.
    #[inline]
    fn parts(&self, z: f64) -> (f64, f64) {
        let core = if z.abs() < CORE_ENDS {
            self.core * (-0.5 * z * z).exp()
        } else {
            0.0
        };
        let tail = if z < 0.0 {
            self.tail * (z * self.per_depth).exp()
        } else {
            0.0
        };
        (core, core + tail + GROSS.0 / GROSS.1)
    }

    /// Density of a residual in standard deviations.
    #[inline]
    pub(crate) fn density(&self, z: f64) -> f64 {
        self.parts(z).1
    }

    /// The share of the density that the core explains.
    #[inline]
    pub(crate) fn core_share(&self, z: f64) -> f64 {
        let (core, all) = self.parts(z);
        core / all
    }
}
