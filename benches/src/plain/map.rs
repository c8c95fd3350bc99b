//! The crop map of the plain way: the largest of a group is its king, the nearest wood its limb.

use super::Found;
use corymb_geometry::solids::point_limb;
use corymb_model::frames::Point;
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::run::{BoxRef, Class, Run};
use nalgebra::Vector3;

pub(super) fn assemble(
    run: &Run,
    found: &[Found],
    groups: &[usize],
    parts: &[Vec<(BoxRef, Class)>],
) -> CropMap {
    let count = groups.iter().max().map_or(0, |g| g + 1);
    let members = |g: usize| (0..found.len()).filter(|&k| groups[k] == g).collect();
    let clusters: Vec<Cluster> = (0..count)
        .map(|g| cluster(run, found, g, members(g)))
        .collect();
    let fruitlets = (0..found.len())
        .map(|k| fruitlet(run, found, &clusters[groups[k]], groups[k], k, &parts[k]))
        .collect();
    CropMap {
        fruitlets,
        clusters,
    }
}

fn cluster(run: &Run, found: &[Found], group: usize, members: Vec<usize>) -> Cluster {
    let sum: Vector3<f64> = members.iter().map(|&k| found[k].centre).sum();
    let middle = sum / members.len().max(1) as f64;
    let wood = nearest_limb(run, &middle);
    Cluster {
        id: format!("c{group:05}"),
        tree_idx: wood.map(|w| w.0),
        limb_idx: wood.map(|w| w.1),
        along_limb_m: None,
        spur: Point::from_vector(middle),
        spur_deviation_m: 0.02,
        probability: 1.0,
        members,
    }
}

fn fruitlet(
    run: &Run,
    found: &[Found],
    cluster: &Cluster,
    cluster_idx: usize,
    k: usize,
    parts: &[(BoxRef, Class)],
) -> Fruitlet {
    let own = &found[k];
    let largest = cluster
        .members
        .iter()
        .all(|&j| j == k || found[j].radius_m < own.radius_m);
    let class_of = |&at: &BoxRef| Some((at, run.detection(at)?.class));
    let mut detections: Vec<(BoxRef, Class)> = own.boxes.iter().filter_map(class_of).collect();
    detections.extend_from_slice(parts);
    detections.sort_unstable();
    Fruitlet {
        id: format!("f{k:05}"),
        class: Class::Fruitlet,
        tree_idx: cluster.tree_idx,
        tree_probability: 1.0,
        cluster_idx,
        cluster_probability: 1.0,
        centre: Point::from_vector(own.centre),
        diameter_m: 2.0 * own.radius_m,
        covariance_m2: own.covariance_m2,
        shared_deviation_m: 0.0,
        axis: None,
        stem: None,
        stem_top: None,
        spur: None,
        king_probability: f64::from(u8::from(largest)),
        existence: 1.0,
        views: own.boxes.len(),
        detections,
    }
}

/// Tree and limb whose surface is nearest.
fn nearest_limb(run: &Run, p: &Vector3<f64>) -> Option<(usize, usize)> {
    let trees = run.orchard.iter().flat_map(|o| o.trees.iter().enumerate());
    trees
        .flat_map(|(t, tree)| tree.limbs.iter().enumerate().map(move |(l, x)| (t, l, x)))
        .filter_map(|(t, l, limb)| {
            let points: Vec<Vector3<f64>> = limb.points.iter().map(|q| q.xyz).collect();
            let near = point_limb(p, &points, &limb.radii_m)?;
            Some((near.surface_distance_m(), t, l))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, t, l)| (t, l))
}
