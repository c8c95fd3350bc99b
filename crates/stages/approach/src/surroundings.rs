//! What stands about a cluster: its fruit with their stems, fruit of other clusters, limbs and obstacles.

use crate::config::Config;
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::orchard::{ObstacleShape, OrchardModel};
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Isometry3, Matrix3, Matrix4, Vector3};

/// Long segments are found by points along them, at most this far apart, metres.
const LOOKUP_STEP_M: f64 = 0.2;
/// Points at most along one segment.
const LOOKUP_POINTS: f64 = 100_000.0;

/// What a solid thing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum SolidName {
    /// Positions of the tree and of its limb.
    Limb(usize, usize),
    /// Position of the obstacle.
    Obstacle(usize),
}

/// The shape of a solid thing, orchard frame.
#[derive(Debug, Clone, Copy)]
pub(crate) enum SolidShape {
    /// Balls along a segment, their radii linear from end to end.
    Capsule {
        a: Vector3<f64>,
        b: Vector3<f64>,
        ra_m: f64,
        rb_m: f64,
    },
    /// A box with half edge lengths.
    Box {
        orchard_from_box: Isometry3<f64>,
        half_m: Vector3<f64>,
    },
}

/// Something that must not be met.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Solid {
    /// What it is.
    pub name: SolidName,
    /// Where.
    pub shape: SolidShape,
}

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
        #[allow(clippy::cast_precision_loss)] // few members
        let middle = centres.iter().sum::<Vector3<f64>>() / centres.len().max(1) as f64;
        let spread = centres
            .iter()
            .fold(0.0_f64, |most, c| most.max((c - middle).norm()));
        let mut others = self
            .fruit
            .within(&middle, spread + reach_m + self.fruit_reach);
        others.retain(|i| members.binary_search(i).is_err());
        let bodies = members
            .iter()
            .chain(&others)
            .filter_map(|&i| self.body(i, config))
            .collect();
        let mut near: Vec<usize> = self
            .lookup
            .within(&middle, spread + reach_m + self.lookup_reach)
            .into_iter()
            .filter_map(|i| self.lookup_solid.get(i).copied())
            .collect();
        near.sort_unstable();
        near.dedup();
        let clip = |i: usize| {
            self.solids
                .get(i)
                .map(|s| s.clipped(&middle, spread + reach_m + 0.05))
        };
        Surroundings {
            bodies,
            members: members.len(),
            solids: near.into_iter().filter_map(clip).collect(),
        }
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
        let (spur_var, bow_m) = (
            cluster.spur_deviation_m.powi(2),
            config.stem_bow_share * (spur - top).norm(),
        );
        let sd_bound = (top_cov.trace().max(0.0) + spur_var + bow_m * bow_m).sqrt();
        let stem = StemLine {
            top,
            spur,
            top_cov,
            spur_var,
            bow_m,
            sd_bound,
        };
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

impl Solid {
    /// The part of it that can lie within `reach_m` of `middle`.
    fn clipped(&self, middle: &Vector3<f64>, reach_m: f64) -> Solid {
        let SolidShape::Capsule { a, b, ra_m, rb_m } = self.shape else {
            return *self;
        };
        let along = b - a;
        let length = along.norm();
        if length < 1e-9 {
            return *self;
        }
        let foot = (middle - a).dot(&along) / (length * length);
        let half = (reach_m + ra_m.max(rb_m)) / length;
        let (s, t) = ((foot - half).clamp(0.0, 1.0), (foot + half).clamp(0.0, 1.0));
        let taper = rb_m - ra_m;
        let shape = SolidShape::Capsule {
            a: a + along * s,
            b: a + along * t,
            ra_m: ra_m + taper * s,
            rb_m: ra_m + taper * t,
        };
        Solid {
            name: self.name,
            shape,
        }
    }
}

fn solids_of(orchard: &OrchardModel) -> Vec<Solid> {
    let mut solids = Vec::new();
    for (tree_idx, tree) in orchard.trees.iter().enumerate() {
        for (limb_idx, limb) in tree.limbs.iter().enumerate() {
            for (p, r) in limb.points.windows(2).zip(limb.radii_m.windows(2)) {
                if let ([a, b], [ra_m, rb_m]) = (p, r) {
                    let shape = SolidShape::Capsule {
                        a: a.xyz,
                        b: b.xyz,
                        ra_m: *ra_m,
                        rb_m: *rb_m,
                    };
                    solids.push(Solid {
                        name: SolidName::Limb(tree_idx, limb_idx),
                        shape,
                    });
                }
            }
        }
    }
    for (obstacle_idx, obstacle) in orchard.obstacles.iter().enumerate() {
        let shape = match obstacle.shape {
            ObstacleShape::Capsule { a, b, radius_m } => SolidShape::Capsule {
                a: a.xyz,
                b: b.xyz,
                ra_m: radius_m,
                rb_m: radius_m,
            },
            ObstacleShape::Box {
                orchard_from_box,
                size_m,
            } => SolidShape::Box {
                orchard_from_box: orchard_from_box.iso,
                half_m: Vector3::from(size_m) * 0.5,
            },
        };
        solids.push(Solid {
            name: SolidName::Obstacle(obstacle_idx),
            shape,
        });
    }
    solids
}

/// Points by which a solid is found, each with how far the part that it stands for reaches from it.
fn lookup_points(shape: &SolidShape) -> Vec<(Vector3<f64>, f64)> {
    match shape {
        SolidShape::Capsule { a, b, ra_m, rb_m } => {
            let length = (b - a).norm();
            let parts = (length / LOOKUP_STEP_M).ceil().clamp(1.0, LOOKUP_POINTS);
            let reach = 0.5 * length / parts + ra_m.max(*rb_m);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped above
            let count = parts as u32;
            (0..count)
                .map(|k| (a + (b - a) * ((f64::from(k) + 0.5) / parts), reach))
                .collect()
        }
        SolidShape::Box {
            orchard_from_box,
            half_m,
        } => {
            vec![(orchard_from_box.translation.vector, half_m.norm())]
        }
    }
}

/// Finds points by place.
struct Finder {
    points: Vec<[f64; 3]>,
    /// `None` of no points, or of points that the tree cannot hold: then each is asked.
    tree: Option<ImmutableKdTree<f64, 3>>,
}

impl Finder {
    fn new(points: Vec<[f64; 3]>) -> Self {
        let tree = if points.is_empty() {
            None
        } else {
            ImmutableKdTree::new_from_slice(&points).ok()
        };
        Self { points, tree }
    }

    /// Positions of the points within `radius`, ascending.
    fn within(&self, at: &Vector3<f64>, radius: f64) -> Vec<usize> {
        let place: [f64; 3] = (*at).into();
        let Some(tree) = &self.tree else {
            let near = |p: &[f64; 3]| (Vector3::from(*p) - at).norm_squared() <= radius * radius;
            return self
                .points
                .iter()
                .enumerate()
                .filter(|(_, p)| near(p))
                .map(|(i, _)| i)
                .collect();
        };
        let found = tree
            .query(&place)
            .within::<SquaredEuclidean<f64>>(radius * radius)
            .unsorted()
            .execute();
        let mut items: Vec<usize> = found
            .iter()
            .filter_map(|r| usize::try_from(r.item).ok())
            .collect();
        items.sort_unstable();
        items
    }
}
