//! Limbs as knowledge of depth: fruit hangs near wood.

use crate::bodies::DepthPrior;
use crate::cubes::Cubes;
use corymb_model::orchard::OrchardModel;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::Vector3;

/// Spacing of the points that stand for a limb when depth is guessed, metres.
const STEP_M: f64 = 0.02;
/// How far from wood fruit typically hangs (stem and half a fruit), metres.
const HANG_M: f64 = 0.035;
/// How many times as far wood still counts.
const HANG_SIGMAS: f64 = 3.0;

/// A stretch of wood.
#[derive(Debug, Clone, Copy)]
struct Segment {
    a: Vector3<f64>,
    b: Vector3<f64>,
    ra: f64,
    rb: f64,
}

/// All limbs of the orchard as segments, with a tree over sample points.
#[derive(Debug, Default)]
pub(crate) struct Limbs {
    segments: Vec<Segment>,
    samples: Vec<[f64; 3]>,
    segment_of: Vec<usize>,
    /// The samples, by where they are.
    cubes: Cubes,
    tree: Option<ImmutableKdTree<f64, 3>>,
}

/// The nearest wood to a point.
#[derive(Debug, Clone, Copy)]
pub(crate) struct NearWood {
    /// From the wood's axis to the point, unit vector.
    pub(crate) away: Vector3<f64>,
    /// Distance from the wood's surface, metres.
    pub(crate) surface_m: f64,
}

impl Limbs {
    pub(crate) fn new(orchard: Option<&OrchardModel>) -> Self {
        let mut all = Self::default();
        for limb in orchard.iter().flat_map(|o| &o.trees).flat_map(|t| &t.limbs) {
            for (p, r) in limb.points.windows(2).zip(limb.radii_m.windows(2)) {
                let s = Segment {
                    a: p[0].xyz,
                    b: p[1].xyz,
                    ra: r[0],
                    rb: r[1],
                };
                let n = ((s.b - s.a).norm() / STEP_M).ceil().clamp(1.0, 1000.0) as usize;
                for k in 0..=n {
                    let q = s.a + (s.b - s.a) * (k as f64 / n as f64);
                    all.samples.push(q.into());
                    all.segment_of.push(all.segments.len());
                }
                all.segments.push(s);
            }
        }
        all.cubes = Cubes::of(all.samples.iter().map(|q| (Vector3::from(*q), 0.0)));
        if !all.samples.is_empty() {
            all.tree = ImmutableKdTree::new_from_slice(&all.samples).ok();
        }
        all
    }

    /// The nearest wood within `within` metres of its axis.
    pub(crate) fn nearest(&self, p: &Vector3<f64>, within: f64) -> Option<NearWood> {
        let tree = self.tree.as_ref()?;
        let q: [f64; 3] = (*p).into();
        let reach = within + STEP_M;
        let hits = tree
            .query(&q)
            .within::<SquaredEuclidean<f64>>(reach * reach)
            .execute();
        let mut best: Option<(f64, NearWood)> = None;
        let mut seen: Vec<usize> = hits
            .iter()
            .map(|h| self.segment_of[h.item as usize])
            .collect();
        seen.sort_unstable();
        seen.dedup();
        for s in seen.into_iter().map(|k| &self.segments[k]) {
            let d = s.b - s.a;
            let t = ((p - s.a).dot(&d) / d.norm_squared().max(1e-12)).clamp(0.0, 1.0);
            let v = p - (s.a + d * t);
            let (n, r) = (v.norm(), s.ra + (s.rb - s.ra) * t);
            if n > 1e-9 && n < within && best.as_ref().is_none_or(|b| n - r < b.0) {
                best = Some((
                    n - r,
                    NearWood {
                        away: v / n,
                        surface_m: n - r,
                    },
                ));
            }
        }
        best.map(|b| b.1)
    }

    /// The depth along a ray at which wood and apparent size agree, as a Gaussian; `None` where no wood lies near.
    ///
    /// O(samples near the ray) a call.
    pub(crate) fn depth_on_ray(
        &self,
        from: &Vector3<f64>,
        along: &Vector3<f64>,
        half_angle: f64,
        radius_m: (f64, f64),
        range_m: (f64, f64),
    ) -> Option<DepthPrior> {
        let (mut w0, mut w1, mut w2) = (0.0, 0.0, 0.0);
        let near_ray = self.cubes.that(|centre, reach_m| {
            let v = centre - from;
            let z = v.dot(along);
            let within = HANG_SIGMAS * HANG_M + reach_m;
            v.norm_squared() - z * z < within * within
                && z > range_m.0 - reach_m
                && z < range_m.1 + reach_m
        });
        for k in near_ray {
            let v = Vector3::from(self.samples[k]) - from;
            let z = v.dot(along);
            if z < range_m.0 || z > range_m.1 {
                continue;
            }
            let perp2 = v.norm_squared() - z * z;
            if perp2 > (HANG_SIGMAS * HANG_M).powi(2) {
                continue;
            }
            let size = (z * half_angle - radius_m.0) / radius_m.1;
            let w = (-0.5 * (perp2 / (HANG_M * HANG_M) + size * size)).exp();
            w0 += w;
            w1 += w * z;
            w2 += w * z * z;
        }
        if w0 < 1e-3 {
            return None;
        }
        let mean = w1 / w0;
        let var = (w2 / w0 - mean * mean).max(0.0) + HANG_M * HANG_M;
        Some(DepthPrior {
            axis: *along,
            at: along.dot(from) + mean,
            sigma_m: var.sqrt(),
        })
    }
}
