//! The crop map from a settled division.

use crate::hang::hang;
use crate::king::{Candidates, KingHabit};
use crate::odds::Odds;
use crate::place::{Place, place};
use crate::search::Partition;
use crate::spur::{Scales, Spur};
use crate::wood::Wood;
use corymb_model::frames::Point;
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::run::{BoxRef, Class, Run};
use corymb_model::scene::{Body, Scene};

/// Everything about one cluster.
struct Settled<'a> {
    members: &'a [usize],
    spur: Spur,
    odds: &'a Odds,
    place: Option<Place>,
    kings: &'a [f64],
}

/// The map: fruitlets in the order of the scene's bodies, clusters in the order of their first members.
pub(crate) fn assemble(
    run: &Run,
    scene: &Scene,
    scales: &Scales<'_>,
    wood: &Wood,
    partition: &Partition,
    spurs: &[Spur],
    odds: &[Odds],
) -> CropMap {
    let kings = kings(scene, scales, partition, spurs);
    let settled: Vec<Settled<'_>> = (0..partition.len())
        .map(|k| Settled {
            members: &partition[k],
            spur: spurs[k],
            odds: &odds[k],
            place: place(scales, wood, &partition[k], &spurs[k].at),
            kings: &kings[k],
        })
        .collect();
    let mut of = vec![(0, 0); scene.bodies.len()];
    for (k, s) in settled.iter().enumerate() {
        for (at, &i) in s.members.iter().enumerate() {
            of[i] = (k, at);
        }
    }
    let fruitlets = scene.bodies.iter().enumerate().map(|(i, body)| {
        let (cluster_idx, at) = of[i];
        fruitlet(run, body, scales, i, cluster_idx, &settled[cluster_idx], at)
    });
    let clusters = settled.iter().enumerate().map(|(k, s)| cluster(k, s));
    CropMap {
        fruitlets: fruitlets.collect(),
        clusters: clusters.collect(),
    }
}

/// For each member of each cluster the probability that it is the king.
fn kings(
    scene: &Scene,
    scales: &Scales<'_>,
    partition: &Partition,
    spurs: &[Spur],
) -> Vec<Vec<f64>> {
    let classes: Vec<Class> = scene.bodies.iter().map(|b| b.class).collect();
    let candidates = |(members, spur): (&Vec<usize>, &Spur)| {
        let near = &scales.near[members[0]];
        let foot = scales
            .habit
            .spur_density(&spur.at, near, scales.config)
            .foot;
        let outwards = foot.map(|f| f.outwards).filter(|o| o.norm() > 0.5);
        Candidates::new(scales, &classes, members, spur, outwards)
    };
    let candidates: Vec<Candidates> = partition.iter().zip(spurs).map(candidates).collect();
    let habit = KingHabit::learn(scales, &candidates);
    let usual = scales.habit.usual_number();
    candidates.iter().map(|c| c.odds(&habit, usual)).collect()
}

fn cluster(k: usize, settled: &Settled<'_>) -> Cluster {
    let covariance = settled.spur.precision.try_inverse().unwrap_or_default();
    Cluster {
        id: format!("c{:04}", k + 1),
        tree_idx: settled.place.map(|p| p.tree_idx),
        limb_idx: settled.place.and_then(|p| p.limb_idx),
        along_limb_m: settled.place.and_then(|p| p.along_m),
        spur: Point::from_vector(settled.spur.at),
        spur_deviation_m: (covariance.trace() / 3.0).max(0.0).sqrt(),
        probability: settled.odds.cluster,
        members: settled.members.to_vec(),
    }
}

fn fruitlet(
    run: &Run,
    body: &Body,
    scales: &Scales<'_>,
    i: usize,
    cluster_idx: usize,
    settled: &Settled<'_>,
    at: usize,
) -> Fruitlet {
    let membership = settled.odds.members.get(at).copied().unwrap_or(1.0);
    let hangs = hang(scales, i, &settled.spur, membership);
    let own = scales.fruit[i].reading(
        &settled.spur.at,
        settled.spur.cover,
        &scales.habit,
        scales.config,
    ) != crate::stem::StemReading::None;
    Fruitlet {
        id: format!("f{:04}", i + 1),
        class: body.class,
        tree_idx: settled.place.map(|p| p.tree_idx),
        tree_probability: settled.place.map_or(0.0, |p| p.tree_probability),
        cluster_idx,
        cluster_probability: membership,
        centre: body.centre,
        diameter_m: 2.0 * body.radius_m,
        covariance_m2: body.covariance_m2,
        shared_deviation_m: body.shared_deviation_m,
        axis: hangs.axis,
        stem: body.stem.filter(|_| own),
        stem_top: Some(Point::from_vector(hangs.top)),
        spur: Some(Point::from_vector(settled.spur.at)),
        king_probability: settled.kings.get(at).copied().unwrap_or(0.0),
        existence: body.existence,
        views: views(body),
        detections: detections(run, body),
    }
}

/// Images with a body box.
fn views(body: &Body) -> usize {
    let mut frames: Vec<u32> = body.boxes.iter().map(|b| b.frame_idx).collect();
    frames.sort_unstable();
    frames.dedup();
    frames.len()
}

/// Every box of the body with its class, ascending.
fn detections(run: &Run, body: &Body) -> Vec<(BoxRef, Class)> {
    let all = body
        .boxes
        .iter()
        .chain(&body.duplicate_boxes)
        .chain(&body.calyx_boxes)
        .chain(&body.stem_boxes);
    let mut out: Vec<(BoxRef, Class)> = all
        .filter_map(|at| Some((*at, run.detection(*at)?.class)))
        .collect();
    out.sort_unstable_by_key(|(at, _)| *at);
    out.dedup_by_key(|(at, _)| *at);
    out
}
