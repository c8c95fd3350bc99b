//! Everything that grows on the wood.

use super::body::TrueBody;
use super::cluster::{Spur, hang, size, spur_at};
use super::leaf::{Sway, TrueLeaf, leaves};
use super::neighbours::Neighbours;
use super::polyline::{Segment, length, place};
use super::tree::wood;
use crate::error::SimulateError;
use crate::spec::SceneSpec;
use crate::streams::{Draw, Purpose, Streams};
use corymb_model::Point;
use corymb_model::orchard::{Limb, LimbKind, OrchardModel};
use rand::RngExt;

/// Bodies of a scene, at most.
const MOST_BODIES: usize = 200_000;
/// No spur sits nearer than this to a limb's base, metres.
const BARE_BASE_M: f64 = 0.05;
/// How far a thing that looks like a body is from its limb, metres.
const PHANTOM_DISTANCE_M: [f64; 2] = [0.03, 0.09];

/// What grows on the wood.
pub(crate) struct Crop {
    /// Bodies, by tree, limb, spur.
    pub(crate) bodies: Vec<TrueBody>,
    /// Things that look like bodies.
    pub(crate) phantoms: Vec<TrueBody>,
    /// Leaves.
    pub(crate) leaves: Vec<TrueLeaf>,
    /// Names of clusters; some may have grown no body.
    pub(crate) cluster_ids: Vec<String>,
    /// Motion of each cluster.
    pub(crate) sways: Vec<Sway>,
    /// Wood, wires and posts.
    pub(crate) wood: Vec<Segment>,
}

/// Grows clusters, leaves and look-alikes on the orchard.
pub(crate) fn crop(
    spec: &SceneSpec,
    orchard: &OrchardModel,
    streams: &Streams,
) -> Result<Crop, SimulateError> {
    let mut crop = Crop {
        bodies: Vec::new(),
        phantoms: Vec::new(),
        leaves: Vec::new(),
        cluster_ids: Vec::new(),
        sways: Vec::new(),
        wood: wood(orchard),
    };
    let mut neighbours = Neighbours::new(&crop.wood);
    for (tree_idx, tree) in orchard.trees.iter().enumerate() {
        for (limb_idx, limb) in tree.limbs.iter().enumerate() {
            grow_limb(
                spec,
                (tree_idx, limb_idx),
                limb,
                streams,
                &mut neighbours,
                &mut crop,
            );
            if crop.bodies.len() > MOST_BODIES {
                return Err(SimulateError::TooManyBodies { limit: MOST_BODIES });
            }
        }
        phantoms(spec, tree_idx, &tree.limbs, streams, &mut crop.phantoms);
    }
    damage(spec, streams, &mut crop.bodies);
    Ok(crop)
}

fn grow_limb(
    spec: &SceneSpec,
    (tree_idx, limb_idx): (usize, usize),
    limb: &Limb,
    streams: &Streams,
    neighbours: &mut Neighbours,
    crop: &mut Crop,
) {
    if limb.kind == LimbKind::Leader && !spec.crop.on_leader {
        return;
    }
    for (n, along_limb_m) in spurs_along(spec, (tree_idx, limb_idx), limb, streams)
        .into_iter()
        .enumerate()
    {
        let Some(place) = place(limb, along_limb_m) else {
            continue;
        };
        if place.p.z < spec.crop.lowest_spur_m {
            continue;
        }
        let item = (tree_idx as u64) << 32 | limb_idx as u64;
        let mut rng = streams.rng(Purpose::Cluster, item, n as u64);
        let (p, outward) = spur_at(&spec.crop, &place, &mut rng);
        let cluster_idx = crop.cluster_ids.len();
        let cluster_id = format!("{}-s{:02}", limb.id, n + 1);
        let count = size(&spec.crop, &mut rng);
        let spur = Spur {
            tree_idx,
            limb_idx,
            along_limb_m,
            cluster_idx,
            cluster_id,
            p,
            outward,
        };
        hang(
            &spec.crop,
            &spec.sizes(),
            &spur,
            count,
            neighbours,
            &mut crop.bodies,
            &mut rng,
        );
        let mut rng = streams.rng(Purpose::Leaf, item, n as u64);
        crop.leaves
            .extend(leaves(&spec.leaves, cluster_idx, &p, &outward, &mut rng));
        let mut rng = streams.rng(Purpose::Wind, item, n as u64);
        crop.sways.push(Sway::new(&spec.wind, &mut rng));
        crop.cluster_ids.push(spur.cluster_id);
    }
}

/// Distances of the spurs from the limb's base.
fn spurs_along(
    spec: &SceneSpec,
    (tree_idx, limb_idx): (usize, usize),
    limb: &Limb,
    streams: &Streams,
) -> Vec<f64> {
    let mut rng = streams.rng(Purpose::Spur, tree_idx as u64, limb_idx as u64);
    let end_m = length(limb);
    let mut found = Vec::new();
    let mut along_m = BARE_BASE_M + 1e-3 * rng.between([0.0, spec.crop.spur_gap_mm]);
    while along_m < end_m {
        found.push(along_m);
        let u: f64 = rng.random();
        let more_mm = -spec.crop.spur_gap_more_mm * (1.0 - u).ln();
        along_m += 1e-3 * (spec.crop.spur_gap_mm + more_mm);
    }
    found
}

fn phantoms(
    spec: &SceneSpec,
    tree_idx: usize,
    limbs: &[Limb],
    streams: &Streams,
    out: &mut Vec<TrueBody>,
) {
    let mut rng = streams.rng(Purpose::Phantom, tree_idx as u64, 0);
    for _ in 0..rng.count(spec.detector.false_objects_per_tree) {
        let limb_idx = rng.random_range(0..limbs.len());
        let along_limb_m = rng.between([0.0, length(&limbs[limb_idx])]);
        let away = corymb_model::Direction::of(rng.normal3(1.0));
        let (Some(place), Some(axis)) = (place(&limbs[limb_idx], along_limb_m), away) else {
            continue;
        };
        let centre = Point::from_vector(place.p + axis.xyz * rng.between(PHANTOM_DISTANCE_M));
        out.push(TrueBody {
            id: None,
            class: spec.crop.kind.class(false),
            tree_idx,
            limb_idx,
            along_limb_m,
            cluster_idx: usize::MAX,
            king: false,
            centre,
            diameter_m: 1e-3 * rng.between(spec.sizes().bounds_mm),
            length_ratio: 1.0,
            axis,
            stem: Vec::new(),
            damaged: false,
        });
    }
}

fn damage(spec: &SceneSpec, streams: &Streams, bodies: &mut [TrueBody]) {
    for (k, body) in bodies.iter_mut().enumerate() {
        let mut rng = streams.rng(Purpose::Visibility, k as u64, 1);
        body.damaged = rng.chance(spec.detector.damaged_share);
    }
}
