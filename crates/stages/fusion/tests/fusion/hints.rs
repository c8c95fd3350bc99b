//! Depths and tracks help where they are right, and do no harm where they are not.

use crate::hits;
use corymb_fusion::{Config, fuse};
use corymb_model::scene::Body;
use corymb_simulate::{SceneSpec, Simulated, simulate};

/// Few views under poor poses, so that there is something to gain.
fn scene(change: impl FnOnce(&mut SceneSpec)) -> Simulated {
    let mut spec = SceneSpec::two_trees();
    spec.errors.pose_white_m = 0.012;
    spec.errors.pose_white_deg = 0.5;
    spec.detector.edge_white_px = 2.5;
    change(&mut spec);
    simulate(&spec, 8).unwrap()
}

/// F1 of the fruit that two images show, in a map that may be off as a whole: poses alone cannot tell where it is.
fn f1(s: &Simulated) -> f64 {
    let mut scene = fuse(&s.run, &Config::default());
    let off = |b: &Body| {
        let offsets = s
            .truth
            .fruitlets
            .iter()
            .map(|t| t.centre.xyz - b.centre.xyz);
        offsets.min_by(|a, b| a.norm().total_cmp(&b.norm()))
    };
    let near: Vec<_> = (scene.bodies.iter().filter_map(off))
        .filter(|d| d.norm() < 0.03)
        .collect();
    for k in 0..3 {
        let mut along: Vec<f64> = near.iter().map(|d| d[k]).collect();
        along.sort_by(f64::total_cmp);
        let shift = along[along.len() / 2];
        scene
            .bodies
            .iter_mut()
            .for_each(|b| b.centre.xyz[k] += shift);
    }
    let (found, expected, bodies) = hits(s, &scene);
    2.0 * found as f64 / (expected + bodies) as f64
}

#[test]
fn good_depths_help_and_bad_ones_do_no_harm() {
    let with = |outliers: f64| {
        f1(&scene(|spec| {
            spec.detector.depth.probability = 1.0;
            spec.detector.depth.deviation_m = 0.005;
            spec.detector.depth.outlier_share = outliers;
        }))
    };
    let none = f1(&scene(|_| ()));
    let (good, half, bad) = (with(0.1), with(0.5), with(1.0));
    assert!(good > none + 0.1, "{none} {good}");
    assert!(
        half > none - 0.01 && bad > none - 0.01,
        "{none} {half} {bad}"
    );
}

#[test]
fn tracks_do_no_harm_right_or_wrong() {
    let none = f1(&scene(|_| ()));
    let mut tracked = scene(|spec| {
        spec.detector.track.given = true;
        spec.detector.track.switch_probability = 0.05;
    });
    let right = f1(&tracked);
    assert!(right > none - 0.01, "{none} {right}");
    for (k, d) in (tracked
        .run
        .frames
        .iter_mut()
        .flat_map(|f| &mut f.detections))
    .enumerate()
    {
        d.track = Some(format!("{}", k * 7919 % 61)); // as if drawn by lot
    }
    let wrong = f1(&tracked);
    assert!((wrong - none).abs() < 1e-12, "{none} {wrong}");
}
