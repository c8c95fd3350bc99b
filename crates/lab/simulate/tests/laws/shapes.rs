//! Shape of a run: order, ranges, labels, the truth in the shape of a stage's output.

use crate::common::{run, small};
use corymb_model::run::Class;
use corymb_simulate::{SceneSpec, Simulated, truth_as_map, truth_as_scene};
use proptest::prelude::*;
use std::collections::BTreeSet;

fn is_well_formed(s: &Simulated) {
    let mut ids = BTreeSet::new();
    let mut last = None;
    for (frame, truth) in s.run.frames.iter().zip(&s.true_scene.frames) {
        assert!(ids.insert(&frame.id), "{} twice", frame.id);
        let key = (frame.time_s, frame.camera_idx, frame.id.as_str());
        assert!(last < Some(key), "{} out of order", frame.id);
        last = Some(key);
        let offset_s = truth.time_s - frame.time_s;
        assert!((offset_s - s.true_scene.clock_offset_s).abs() < 1.5e-6);
        let camera = &s.run.cameras[frame.camera_idx];
        let (w, h) = (f64::from(camera.width_px), f64::from(camera.height_px));
        assert_eq!(s.truth.detections[&frame.id].len(), frame.detections.len());
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            let [x0, y0, x1, y1] = d.box_px;
            assert!(
                0.0 <= x0 && x0 < x1 && x1 <= w && 0.0 <= y0 && y0 < y1 && y1 <= h,
                "{d:?}"
            );
            assert!((0.0..=1.0).contains(&d.score));
            assert!(d.depth_m.is_none_or(|z| z.is_finite() && z > 0.0));
            assert!(
                d.axis_px
                    .is_none_or(|[x, y]| (x.hypot(y) - 1.0).abs() < 1e-9)
            );
            assert!(label.is_none_or(|k| k < s.truth.fruitlets.len()));
        }
        let tracks: Vec<&String> = frame
            .detections
            .iter()
            .filter_map(|d| d.track.as_ref())
            .collect();
        assert_eq!(tracks.iter().collect::<BTreeSet<_>>().len(), tracks.len());
    }
    assert_eq!(s.truth.detections.len(), s.run.frames.len());
    let names: BTreeSet<&str> = s.truth.fruitlets.iter().map(|f| f.id.as_str()).collect();
    assert_eq!(names.len(), s.truth.fruitlets.len());
}

#[test]
fn named_scenes_are_well_formed() {
    for name in SceneSpec::NAMES {
        is_well_formed(&run(&small(SceneSpec::named(name).unwrap()), 11));
    }
}

#[test]
fn the_truth_as_a_scene_claims_every_true_box_once() {
    let s = run(&small(SceneSpec::hard()), 5);
    let scene = truth_as_scene(&s);
    let mut claimed = BTreeSet::new();
    for body in &scene.bodies {
        let lists = [
            &body.boxes,
            &body.duplicate_boxes,
            &body.calyx_boxes,
            &body.stem_boxes,
        ];
        for list in lists {
            assert!(list.windows(2).all(|w| w[0] < w[1]));
            list.iter()
                .for_each(|at| assert!(claimed.insert(*at), "{at:?} twice"));
        }
        let images: BTreeSet<u32> = body.boxes.iter().map(|at| at.frame_idx).collect();
        assert_eq!(images.len(), body.boxes.len(), "one body box an image");
        assert!(!body.boxes.is_empty() && body.existence == 1.0);
    }
    let order = scene
        .bodies
        .windows(2)
        .all(|w| w[0].centre.xyz.x <= w[1].centre.xyz.x);
    assert!(order && scene.views.len() == s.run.frames.len());
    // what is not claimed shows nothing, or belongs to a body without a body box
    let seen: BTreeSet<usize> = (0..s.run.frames.len())
        .flat_map(|f| {
            labels(&s, f)
                .into_iter()
                .filter(|(_, c)| c.is_body())
                .filter_map(|(k, _)| k)
        })
        .collect();
    let total: usize = (0..s.run.frames.len())
        .map(|f| {
            labels(&s, f)
                .iter()
                .filter(|(k, _)| k.is_some_and(|k| seen.contains(&k)))
                .count()
        })
        .sum();
    assert_eq!(claimed.len(), total);
}

fn labels(s: &Simulated, f: usize) -> Vec<(Option<usize>, Class)> {
    let frame = &s.run.frames[f];
    let labels = &s.truth.detections[&frame.id];
    labels
        .iter()
        .zip(&frame.detections)
        .map(|(k, d)| (*k, d.class))
        .collect()
}

#[test]
fn the_truth_as_a_map_names_and_groups_as_the_truth_does() {
    let s = run(&small(SceneSpec::platform()), 6);
    let map = truth_as_map(&s);
    assert_eq!(map.fruitlets.len(), truth_as_scene(&s).bodies.len());
    for (n, f) in map.fruitlets.iter().enumerate() {
        let truth = s.truth.fruitlets.iter().find(|t| t.id == f.id).unwrap();
        let cluster = &map.clusters[f.cluster_idx];
        assert_eq!(cluster.id, truth.cluster);
        assert!(cluster.members.contains(&n) && cluster.members.windows(2).all(|w| w[0] < w[1]));
        let orchard = s.run.orchard.as_ref().unwrap();
        let tree = &orchard.trees[f.tree_idx.unwrap()];
        assert_eq!(tree.id, truth.tree);
        assert_eq!(
            Some(&tree.limbs[cluster.limb_idx.unwrap()].id),
            truth.limb.as_ref()
        );
        assert_eq!((f.centre, f.diameter_m), (truth.centre, truth.diameter_m));
        assert!(f.detections.windows(2).all(|w| w[0].0 < w[1].0));
        assert!(f.views > 0 && f.covariance_m2.cholesky().is_some());
    }
    assert_eq!(
        map.clusters.iter().map(|c| c.members.len()).sum::<usize>(),
        map.fruitlets.len()
    );
    assert!(map.fruitlets.windows(2).all(|w| w[0].id < w[1].id));
}

#[test]
fn without_an_orchard_no_tree_is_named() {
    let s = run(&small(SceneSpec::no_orchard()), 6);
    assert!(s.run.orchard.is_none());
    let map = truth_as_map(&s);
    assert!(map.fruitlets.iter().all(|f| f.tree_idx.is_none()));
    assert!(
        map.clusters
            .iter()
            .all(|c| c.tree_idx.is_none() && c.limb_idx.is_none())
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Whatever a scene asks for within its bounds, the run is well formed.
    #[test]
    fn any_scene_is_well_formed(
        seed in any::<u64>(),
        gap_mm in 10.0..80.0_f64,
        leaves in 0.0..12.0_f64,
        edge_px in 0.0..6.0_f64,
        pose_deg in 0.0..3.0_f64,
        (merge, double, ghosts) in (0.0..1.0_f64, 0.0..0.5_f64, 0.0..6.0_f64),
        offset_s in -0.2..0.2_f64,
        distance_m in 0.15..1.5_f64,
        sway_mm in 0.0..20.0_f64,
    ) {
        let mut spec = small(SceneSpec::close());
        spec.orchard.limbs_per_tree = [2, 2];
        spec.crop.spur_gap_mm = gap_mm;
        spec.leaves.per_cluster = leaves;
        spec.detector.edge_white_px = edge_px;
        spec.detector.merge_probability = merge;
        spec.detector.duplicate_probability = double;
        spec.detector.false_objects_per_tree = ghosts;
        spec.errors.pose_white_deg = pose_deg;
        spec.errors.clock_offset_s = offset_s;
        spec.wind.sway_mm = sway_mm;
        if let corymb_simulate::spec::Motion::AlongRow(m) = &mut spec.passes[0].motion {
            m.from_m = [-0.1, -distance_m, 0.8];
        }
        is_well_formed(&run(&spec, seed));
    }
}
