//! The displacement at a place from the residuals around it.

use super::residual::{Axes, LIKE, Residual};
use super::{Displaced, FAR, REACH_M, Sway, kernel};
use crate::bodies::Placed;
use crate::edge_model::Stir;
use nalgebra::{SMatrix, SVector, Vector2, Vector3};

/// Residuals that a displacement is taken from.
const MOST: usize = 8;

type Kernels = SMatrix<f64, MOST, MOST>;
type Row = SVector<f64, MOST>;

/// What tells of the displacements in one image.
pub(super) struct Field<'a> {
    sway: Sway,
    stir: Stir,
    axes: Axes,
    /// Time from the image on and residual, from left to right in the orchard.
    told: Vec<(f64, &'a Residual)>,
}

impl<'a> Field<'a> {
    /// Of residuals and their times from the image on, those whose images look the same way. O(n log n).
    pub(super) fn new(
        sway: Sway,
        stir: Stir,
        axes: Axes,
        placed: &Placed,
        told: impl Iterator<Item = (f64, &'a Residual)>,
    ) -> Self {
        let level = placed.r * axes.level().push(0.0);
        let mut told: Vec<(f64, &Residual)> = told
            .filter(|(dt_s, r)| sway.over(*dt_s) > 0.0 && r.level.dot(&level) > LIKE)
            .collect();
        told.sort_by(|a, b| {
            let (a, b) = (
                (a.1.at.x, a.1.body, a.1.frame),
                (b.1.at.x, b.1.body, b.1.frame),
            );
            a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2)))
        });
        Self {
            sway,
            stir,
            axes,
            told,
        }
    }

    /// Correlation of the motions of two bodies.
    fn correlation(&self, apart_m2: f64, dt_s: f64, one_body: bool) -> f64 {
        let alone = if one_body { 1.0 - self.sway.share } else { 0.0 };
        self.sway.over(dt_s) * (self.sway.share * kernel(apart_m2) + alone)
    }

    /// The displacement of a body at a place (orchard frame), from those residuals that count.
    pub(super) fn displaced(
        &self,
        at: &Vector3<f64>,
        body: usize,
        counts: impl Fn(&Residual) -> bool,
    ) -> Displaced {
        let reach_m = FAR * REACH_M;
        let from = (self.told).partition_point(|(_, r)| r.at.x < at.x - reach_m);
        let mut near: Vec<(f64, usize)> = Vec::with_capacity(MOST + 1);
        for (k, (dt_s, r)) in self.told.iter().enumerate().skip(from) {
            if r.at.x > at.x + reach_m {
                break;
            }
            if !counts(r) {
                continue;
            }
            let like = self.correlation((r.at - at).norm_squared(), *dt_s, r.body == body);
            let worse = |n: &(f64, usize)| n.0 >= like;
            if like > 0.0 && !(near.len() == MOST && near.last().is_some_and(worse)) {
                near.insert(near.partition_point(worse), (like, k));
                near.truncate(MOST);
            }
        }
        self.kriged(&near)
    }

    /// From residuals by position, each with its correlation with the place.
    fn kriged(&self, near: &[(f64, usize)]) -> Displaced {
        let mut between = Kernels::identity();
        let mut to = Row::zeros();
        for (i, (like, k)) in near.iter().enumerate() {
            let (dt_a, a) = self.told[*k];
            to[i] = *like;
            for (j, (_, m)) in near[..i].iter().enumerate() {
                let (dt_b, b) = self.told[*m];
                let apart_m2 = (a.at - b.at).norm_squared();
                between[(i, j)] = self.correlation(apart_m2, dt_a - dt_b, a.body == b.body);
            }
        }
        let motion_m2 = self.axes.variances(self.stir);
        let [(level, level_left), (upright, upright_left)] =
            [0, 1].map(|axis| self.along(near, &between, &to, axis, motion_m2[axis]));
        let by = self.axes.into_image(&Vector2::new(level, upright));
        Displaced {
            by: by.push(0.0),
            left: Stir {
                level_m2: level_left,
                plumb_m2: upright_left,
            },
        }
    }

    /// Displacement along an axis and the variance that it leaves. Of `between` the lower triangle counts; places without
    /// a residual stand by themselves.
    fn along(
        &self,
        near: &[(f64, usize)],
        between: &Kernels,
        to: &Row,
        axis: usize,
        motion_m2: f64,
    ) -> (f64, f64) {
        let mut cov = between * motion_m2;
        for i in 0..MOST {
            cov[(i, i)] = near
                .get(i)
                .map_or(1.0, |n| motion_m2 + self.told[n.1].1.noise_m2);
        }
        let to = to * motion_m2;
        let Some(chol) = cov.cholesky() else {
            return (0.0, motion_m2);
        };
        let weights = chol.solve(&to);
        let by = (near.iter().zip(&weights)).map(|(n, w)| self.told[n.1].1.y[axis] * w);
        (by.sum(), (motion_m2 - to.dot(&weights)).max(0.0))
    }
}
