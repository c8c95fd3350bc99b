//! The truth in the shape of a stage's output, so that later stages can be tried on a perfect input.

use crate::grow::TrueBody;
use crate::outcome::Simulated;
use corymb_model::diagnostics::Diagnostics;
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::run::{BoxRef, Class};
use corymb_model::scene::{Axis, Body, Calibration, Scene, Stem, View};
use nalgebra::{Matrix3, Matrix4};

/// Standard deviation stated for what is exactly known: large enough to be inverted, metres.
const FLOOR_M: f64 = 1e-6;
/// The same for directions, radians.
const FLOOR_RAD: f64 = 1e-6;

/// Boxes of one body, ascending, by what they show.
#[derive(Debug, Clone, Default)]
struct Boxes {
    body: Vec<BoxRef>,
    duplicate: Vec<BoxRef>,
    stem: Vec<BoxRef>,
    calyx: Vec<BoxRef>,
}

/// The bodies that at least one body box shows, with true places, true poses and the boxes of their labels, in the
/// order that fusion uses (along x, then z, then y).
#[must_use]
pub fn truth_as_scene(simulated: &Simulated) -> Scene {
    let boxes = boxes(simulated);
    let bodies = seen(simulated, &boxes).into_iter().map(|k| {
        let (b, boxes) = (&simulated.true_scene.bodies[k], &boxes[k]);
        Body {
            class: b.class,
            centre: b.centre,
            radius_m: b.radius_m(),
            covariance_m2: floor(),
            shared_deviation_m: 0.0,
            existence: 1.0,
            boxes: boxes.body.clone(),
            duplicate_boxes: boxes.duplicate.clone(),
            calyx_boxes: boxes.calyx.clone(),
            stem_boxes: boxes.stem.clone(),
            axis: Some(axis(b)),
            stem: Some(stem(b, boxes.stem.len())),
        }
    });
    let camera = |f: &crate::TrueFrame| View {
        orchard_from_camera: Some(f.orchard_from_camera),
    };
    Scene {
        views: simulated.true_scene.frames.iter().map(camera).collect(),
        bodies: bodies.collect(),
        calibration: Calibration::default(),
        diagnostics: Diagnostics::default(),
        frames_left_out: 0,
        box_edge_px: simulated.run.noise.box_edge_px.unwrap_or(1.0),
    }
}

/// The bodies of [`truth_as_scene`] with true axes, stems, spurs, clusters and trees, under the names of the truth.
///
/// Tree and limb are positions in the true orchard; `None` where the run knows no orchard.
#[must_use]
pub fn truth_as_map(simulated: &Simulated) -> CropMap {
    let boxes = boxes(simulated);
    let mut order = seen(simulated, &boxes);
    let bodies = &simulated.true_scene.bodies;
    order.sort_by(|a, b| bodies[*a].id.cmp(&bodies[*b].id));
    let mut map = CropMap::default();
    let mut last = None;
    let mut by_cluster = order.clone();
    by_cluster.sort_by_key(|k| bodies[*k].cluster_idx);
    let mut cluster_of = std::collections::BTreeMap::new();
    for k in by_cluster {
        let b = &bodies[k];
        if last != Some(b.cluster_idx) {
            map.clusters.push(cluster(simulated, b));
            last = Some(b.cluster_idx);
        }
        cluster_of.insert(k, map.clusters.len() - 1);
    }
    for k in order {
        let cluster_idx = cluster_of[&k];
        map.clusters[cluster_idx].members.push(map.fruitlets.len());
        map.fruitlets
            .push(fruitlet(simulated, k, &boxes[k], cluster_idx));
    }
    map
}

fn fruitlet(simulated: &Simulated, k: usize, boxes: &Boxes, cluster_idx: usize) -> Fruitlet {
    let b = &simulated.true_scene.bodies[k];
    let known = simulated.run.orchard.is_some();
    Fruitlet {
        id: b.id.clone().unwrap_or_default(),
        class: b.class,
        tree_idx: known.then_some(b.tree_idx),
        tree_probability: 1.0,
        cluster_idx,
        cluster_probability: 1.0,
        centre: b.centre,
        diameter_m: b.diameter_m,
        covariance_m2: floor(),
        shared_deviation_m: 0.0,
        axis: Some(axis(b)),
        stem: Some(stem(b, boxes.stem.len())),
        stem_top: Some(b.stem_top()),
        spur: Some(b.spur()),
        king_probability: f64::from(u8::from(b.king)),
        existence: 1.0,
        views: boxes.body.len(),
        detections: detections(simulated, boxes),
    }
}

fn cluster(simulated: &Simulated, b: &TrueBody) -> Cluster {
    let known = simulated.run.orchard.is_some();
    Cluster {
        id: simulated
            .true_scene
            .cluster_ids
            .get(b.cluster_idx)
            .cloned()
            .unwrap_or_default(),
        tree_idx: known.then_some(b.tree_idx),
        limb_idx: known.then_some(b.limb_idx),
        along_limb_m: known.then_some(b.along_limb_m),
        spur: b.spur(),
        spur_deviation_m: FLOOR_M,
        probability: 1.0,
        members: Vec::new(),
    }
}

/// Every claimed box once, ascending.
fn detections(simulated: &Simulated, boxes: &Boxes) -> Vec<(BoxRef, Class)> {
    let all = boxes
        .body
        .iter()
        .chain(&boxes.duplicate)
        .chain(&boxes.stem)
        .chain(&boxes.calyx);
    let mut claimed: Vec<(BoxRef, Class)> = all
        .filter_map(|at| simulated.run.detection(*at).map(|d| (*at, d.class)))
        .collect();
    claimed.sort();
    claimed
}

fn axis(b: &TrueBody) -> Axis {
    Axis {
        direction: b.axis,
        deviation_rad: FLOOR_RAD,
    }
}

fn stem(b: &TrueBody, views: usize) -> Stem {
    Stem {
        top: b.stem_top(),
        far: b.spur(),
        far_deviation_m: FLOOR_M,
        far_covariance_m2: Matrix3::identity() * (FLOOR_M * FLOOR_M),
        views,
    }
}

fn floor() -> Matrix4<f64> {
    Matrix4::identity() * (FLOOR_M * FLOOR_M)
}

/// Positions of the bodies with at least one body box, along x, then z, then y.
fn seen(simulated: &Simulated, boxes: &[Boxes]) -> Vec<usize> {
    let bodies = &simulated.true_scene.bodies;
    let mut found: Vec<usize> = (0..bodies.len())
        .filter(|k| !boxes[*k].body.is_empty())
        .collect();
    found.sort_by(|a, b| {
        let (p, q) = (bodies[*a].centre.xyz, bodies[*b].centre.xyz);
        p.x.total_cmp(&q.x)
            .then(p.z.total_cmp(&q.z))
            .then(p.y.total_cmp(&q.y))
    });
    found
}

fn boxes(simulated: &Simulated) -> Vec<Boxes> {
    let mut all = vec![Boxes::default(); simulated.true_scene.bodies.len()];
    for (frame_idx, frame) in simulated.run.frames.iter().enumerate() {
        let labels = simulated.truth.detections.get(&frame.id);
        for (n, label) in labels.into_iter().flatten().enumerate() {
            let at = BoxRef {
                frame_idx: frame_idx as u32,
                detection_idx: n as u32,
            };
            let (Some(own), Some(d)) =
                (label.and_then(|k| all.get_mut(k)), frame.detections.get(n))
            else {
                continue;
            };
            match d.class {
                Class::Stem => own.stem.push(at),
                Class::Calyx => own.calyx.push(at),
                Class::Ignore => {}
                // detections come by falling score: the first of a body in an image is its box
                _ if own
                    .body
                    .last()
                    .is_some_and(|last| last.frame_idx == at.frame_idx) =>
                {
                    own.duplicate.push(at);
                }
                _ => own.body.push(at),
            }
        }
    }
    all
}
