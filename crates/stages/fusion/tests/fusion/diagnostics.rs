//! The account of a fusion adds up.

use corymb_fusion::{Config, fuse, fuse_known};
use corymb_model::diagnostics::{BoxFate, Diagnostics, EventKind, Round};
use corymb_model::run::Run;
use corymb_model::scene::Scene;
use corymb_simulate::{SceneSpec, simulate};
use std::collections::BTreeMap;

/// Every body box has one fate, and the fates are those that bodies and images tell.
fn boxes_add_up(run: &Run, scene: &Scene) {
    let d = &scene.diagnostics;
    let mut all = BTreeMap::new();
    for f in &run.frames {
        for class in f.detections.iter().map(|b| b.class) {
            if class.is_body() {
                *all.entry((f.camera_idx, class)).or_insert(0) += 1;
            }
        }
    }
    let told = (d.boxes.iter())
        .map(|b| ((b.camera_idx, b.class), b.total()))
        .collect();
    assert_eq!(all, told);
    let explained = d.boxes_of(BoxFate::Explained) + d.boxes_of(BoxFate::Cut);
    let of_bodies: usize = scene.bodies.iter().map(|b| b.boxes.len()).sum();
    assert_eq!(explained, of_bodies);
    assert_eq!(d.times.iter().map(|t| t.matched).sum::<usize>(), of_bodies);
    let unclaimed: usize = d.times.iter().map(|t| t.unclaimed).sum();
    assert_eq!(d.boxes_of(BoxFate::Unclaimed), unclaimed);
    let duplicates = scene.bodies.iter().map(|b| b.duplicate_boxes.len());
    assert_eq!(d.boxes_of(BoxFate::Duplicate), duplicates.sum::<usize>());
}

/// From round to round the bodies are those before, with what came and without what went.
fn rounds_add_up(d: &Diagnostics, bodies_at_end: usize) {
    let mut bodies = 0;
    for (k, r) in d.rounds.iter().enumerate() {
        bodies = bodies + r.begun + r.split - r.merged - r.dropped;
        assert_eq!(bodies, r.bodies, "round {k}");
    }
    assert_eq!(bodies, bodies_at_end);
    let of_rounds = |of: fn(&Round) -> usize| d.rounds.iter().map(of).sum::<usize>();
    for (kind, of_rounds) in [
        (EventKind::Begun, of_rounds(|r| r.begun)),
        (EventKind::Merged, of_rounds(|r| r.merged)),
        (EventKind::Split, of_rounds(|r| r.split)),
        (EventKind::Dropped, of_rounds(|r| r.dropped)),
    ] {
        let listed = d.events.iter().filter(|e| e.kind == kind).count();
        let more = d.events_not_listed.get(&kind).copied().unwrap_or(0);
        assert_eq!(listed + more, of_rounds, "{kind:?}");
    }
    assert!(d.events.iter().all(|e| e.round < d.rounds.len()));
    assert!(d.events.iter().all(|e| e.body_idx < Some(bodies_at_end)));
}

#[test]
fn boxes_and_rounds_add_up() {
    let mut spec = SceneSpec::two_trees();
    // worse than it is stated: there is much to mend
    spec.errors.pose_white_m = 0.012;
    spec.errors.pose_white_deg = 0.5;
    spec.detector.edge_white_px = 2.5;
    let mut run = simulate(&spec, 4).unwrap().run;
    let left_out = run.frames.len() / 2;
    run.frames[left_out].orchard_from_rig = None;
    let scene = fuse(&run, &Config::default());
    boxes_add_up(&run, &scene);
    rounds_add_up(&scene.diagnostics, scene.bodies.len());
    let boxes = &run.frames[left_out].detections;
    assert_eq!(
        scene.diagnostics.boxes_of(BoxFate::LeftOut),
        boxes.iter().filter(|b| b.class.is_body()).count()
    );
    assert!(
        scene
            .diagnostics
            .events
            .iter()
            .any(|e| e.body_idx.is_some())
    );
    assert!(
        scene.diagnostics.boxes_of(BoxFate::Cut) > 0,
        "the border cuts some fruit"
    );
}

#[test]
fn residuals_show_what_was_put_in() {
    let mut spec = SceneSpec::two_trees();
    spec.detector.edge_white_px = 1.0;
    spec.detector.edge_constant_px = 0.0;
    let mut s = simulate(&spec, 6).unwrap();
    // a detector that draws its boxes three pixels too wide
    for d in s.run.frames.iter_mut().flat_map(|f| &mut f.detections) {
        if d.class.is_body() {
            d.box_px[0] = (d.box_px[0] - 1.5).max(0.0);
            d.box_px[2] += 1.5;
        }
    }
    let identity: Vec<Vec<Option<usize>>> = (s.run.frames.iter())
        .map(|f| s.truth.detections[&f.id].clone())
        .collect();
    let scene = fuse_known(&s.run, &identity, &Config::default());
    boxes_add_up(&s.run, &scene);
    for camera in &scene.diagnostics.cameras {
        let mean = |k: usize| camera.edges[k].mean_px.unwrap();
        // the radius settles between the width and the height
        assert!(mean(0).min(mean(2)) > 0.5, "{camera:?}");
        assert!(mean(1).max(mean(3)) < -0.5, "{camera:?}");
        let in_bands: usize = camera.bands.iter().map(|b| b.edges.count).sum();
        assert_eq!(
            in_bands,
            camera.edges.iter().map(|e| e.count).sum::<usize>()
        );
    }
}

#[test]
fn a_pose_that_no_body_holds_says_so() {
    let mut run = simulate(&SceneSpec::two_trees(), 5).unwrap().run;
    let time_s = run.frames[0].time_s;
    for f in run.frames.iter_mut().filter(|f| f.time_s == time_s) {
        f.detections.clear();
    }
    let scene = fuse(&run, &Config::default());
    let times = &scene.diagnostics.times;
    assert_eq!(times.len(), scene.calibration.rig_poses.len());
    let alone: Vec<bool> = times.iter().map(|t| t.on_prior_alone).collect();
    assert!(alone[0] && !alone[1..].contains(&true), "{alone:?}");
    assert_eq!((times[0].linking_bodies, times[0].matched), (0, 0));
    assert!(times[1..].iter().all(|t| t.linking_bodies > 5));
}
