//! What stands about a cluster: its fruit with their stems, fruit of other clusters, limbs and obstacles.

use crate::config::Config;
use crate::finder::Finder;
use crate::solids::{Solid, lookup_points, solids_of};
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::orchard::OrchardModel;
use nalgebra::{Matrix3, Matrix4, Vector3};

/// A stem as a straight piece, orchard frame.
#[derive(Debug, Clone, Copy)]
pub(crate) struct StemLine {
    /// Where it meets the fruit.
    pub top: Vector3<f64>,
    /// Where it meets the spur.
    pub spur: Vector3<f64>,
    /// Covariance of `top`.
    pub top_cov: Matrix3<f64>,
    /// Variance per axis of `spur`.
    pub spur_var: f64,
    /// Standard deviation of its middle from the straight line.
    pub bow_m: f64,
    /// No point of it has a larger standard deviation along any direction.
    pub sd_bound: f64,
}

impl StemLine {
    fn new(
        top: Vector3<f64>,
        spur: Vector3<f64>,
        top_cov: Matrix3<f64>,
        spur_var: f64,
        bow_m: f64,
    ) -> Self {
        let sd_bound = (top_cov.trace().max(0.0) + spur_var + bow_m * bow_m).sqrt();
        Self {
            top,
            spur,
            top_cov,
            spur_var,
            bow_m,
            sd_bound,
        }
    }
}

/// A fruitlet as the tool meets it, orchard frame.
#[derive(Debug, Clone)]
pub(crate) struct Body {
    /// Position in `CropMap::fruitlets`.
    pub idx: usize,
    /// Centre.
    pub centre: Vector3<f64>,
    /// Radius.
    pub radius: f64,
    /// Covariance of centre and radius.
    pub cov: Matrix4<f64>,
    /// No margin from it has a larger standard deviation.
    pub sd_bound: f64,
    /// Probability that it is there.
    pub existence: f64,
    /// Its stem.
    pub stem: StemLine,
    /// Which way it hangs with its deviation, where that is known or the spur tells.
    pub axis: Option<(Vector3<f64>, f64)>,
}

/// All that can matter to one cluster.
#[derive(Debug)]
pub(crate) struct Surroundings {
    /// Members of the cluster in its order, then other fruit by position.
    pub bodies: Vec<Body>,
    /// How many of them are members.
    pub members: usize,
    /// Limbs and obstacles.
    pub solids: Vec<Solid>,
}

/// Looks up what stands near a place.
pub(crate) struct Index<'a> {
    map: &'a CropMap,
    fruit: Finder,
    fruit_reach: f64,
    solids: Vec<Solid>,
    lookup: Finder,
    lookup_solid: Vec<usize>,
    lookup_reach: f64,
}

impl<'a> Index<'a> {
    /// Cost: n log n in fruit and in segments.
    pub(crate) fn new(map: &'a CropMap, orchard: Option<&OrchardModel>) -> Self {
        let solids = orchard.map(solids_of).unwrap_or_default();
        let (mut points, mut lookup_solid, mut lookup_reach) = (Vec::new(), Vec::new(), 0.0_f64);
        for (solid_idx, solid) in solids.iter().enumerate() {
            for (point, reach) in lookup_points(&solid.shape) {
                points.push(point.into());
                lookup_solid.push(solid_idx);
                lookup_reach = lookup_reach.max(reach);
            }
        }
        let centres: Vec<[f64; 3]> = map.fruitlets.iter().map(|f| f.centre.xyz.into()).collect();
        Self {
            map,
            fruit: Finder::new(centres),
            fruit_reach: map
                .fruitlets
                .iter()
                .fold(0.0, |most, f| most.max(0.5 * f.diameter_m)),
            solids,
            lookup: Finder::new(points),
            lookup_solid,
            lookup_reach,
        }
    }

    /// Everything within `reach_m` of a member's centre of the cluster (and some more).
    pub(crate) fn about(&self, cluster_idx: usize, reach_m: f64, config: &Config) -> Surroundings {
        let members: &[usize] = self
            .map
            .clusters
            .get(cluster_idx)
            .map_or(&[], |c| &c.members);
        let centres: Vec<Vector3<f64>> = members
            .iter()
            .filter_map(|&i| self.map.fruitlets.get(i))
            .map(|f| f.centre.xyz)
            .collect();
        // few members
        let middle = centres.iter().sum::<Vector3<f64>>() / centres.len().max(1) as f64;
        let spread = centres
            .iter()
            .fold(0.0_f64, |most, c| most.max((c - middle).norm()));
        let reach_m = spread + reach_m;
        let mut others = self.fruit.within(&middle, reach_m + self.fruit_reach);
        others.retain(|i| members.binary_search(i).is_err());
        let bodies = members
            .iter()
            .chain(&others)
            .filter_map(|&i| self.body(i, config))
            .collect();
        Surroundings {
            bodies,
            members: members.len(),
            solids: self.solids_about(&middle, reach_m),
        }
    }

    fn solids_about(&self, middle: &Vector3<f64>, reach_m: f64) -> Vec<Solid> {
        let found = self.lookup.within(middle, reach_m + self.lookup_reach);
        let mut near: Vec<usize> = found
            .into_iter()
            .filter_map(|i| self.lookup_solid.get(i).copied())
            .collect();
        near.sort_unstable();
        near.dedup();
        let solids = near.into_iter().filter_map(|i| self.solids.get(i));
        solids.map(|s| s.clipped(middle, reach_m)).collect()
    }

    fn body(&self, idx: usize, config: &Config) -> Option<Body> {
        let fruit = self.map.fruitlets.get(idx)?;
        let cluster = self.map.clusters.get(fruit.cluster_idx)?;
        let radius = 0.5 * fruit.diameter_m;
        let centre = fruit.centre.xyz;
        let spur = fruit.spur.unwrap_or(cluster.spur).xyz;
        let axis = axis_of(fruit, &spur, cluster.spur_deviation_m, config);
        let back = axis
            .map(|(a, _)| -a)
            .or_else(|| (spur - centre).try_normalize(1e-9))
            .unwrap_or_else(Vector3::z);
        let top = fruit.stem_top.map_or(centre + back * radius, |p| p.xyz);
        let swing = radius * axis.map_or(1.0, |(_, sd)| sd.sin().abs());
        let top_cov =
            fruit.covariance_m2.fixed_view::<3, 3>(0, 0) + Matrix3::identity() * (swing * swing);
        let bow_m = config.stem_bow_share * (spur - top).norm();
        let stem = StemLine::new(top, spur, top_cov, cluster.spur_deviation_m.powi(2), bow_m);
        Some(Body {
            idx,
            centre,
            radius,
            cov: fruit.covariance_m2,
            // |n + radius part|^2 is 2 at most
            sd_bound: (2.0 * fruit.covariance_m2.trace().max(0.0)).sqrt(),
            existence: fruit.existence,
            stem,
            axis,
        })
    }
}

/// The axis as seen; else from the spur to the fruit, where the spur is known better than half their distance.
fn axis_of(
    fruit: &Fruitlet,
    spur: &Vector3<f64>,
    spur_sd: f64,
    config: &Config,
) -> Option<(Vector3<f64>, f64)> {
    if let Some(axis) = &fruit.axis {
        return Some((
            axis.direction.xyz,
            axis.deviation_rad.max(config.least_axis_deviation_rad),
        ));
    }
    let hang = fruit.centre.xyz - spur;
    let length = hang.norm();
    if length < 1e-6 || spur_sd > 0.5 * length {
        return None;
    }
    Some((
        hang / length,
        config.implied_axis_deviation_rad.hypot(spur_sd / length),
    ))
}
