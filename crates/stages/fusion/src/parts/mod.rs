//! Stems and calyx ends: which body each box belongs to, and what they say about the body in space.
//!
//! Calyx boxes are given to bodies by what image axes and other calyx boxes say; stem boxes are paired in space
//! (`rounds`); then axis and stem of each body are fitted together (`fit`) and summarised (`belief`).

mod belief;
mod bids;
mod calyx;
mod config;
mod direction;
mod fit;
mod hypotheses;
mod learn;
mod matching;
mod pairing;
mod piece;
mod rounds;
mod sights;
#[cfg(test)]
mod tests;

pub use config::PartsConfig;

use belief::{Sphere, summarise};
use corymb_model::frames::Point;
use corymb_model::run::{BoxRef, Run};
use corymb_model::scene::{Body, Scene, Stem};
use direction::{AxisEvidence, AxisNoise, sphere_points};
use fit::{Fitted, Habit};
use nalgebra::{Matrix3, Vector3};
use pairing::{Pairing, StemOf};
use rayon::prelude::*;
use sights::Sights;

/// Points on the sphere where axes are weighed: some 18 degrees apart.
const SPHERE_POINTS: usize = 128;
/// Bodies from which the deviation of image axes is learned, at most.
const LEARN_FROM: usize = 200;

/// Gives calyx and stem boxes to the bodies of `scene` and estimates from them how each body hangs and where its stem
/// runs. Sets `calyx_boxes`, `stem_boxes`, `axis` and `stem` of every body, whatever they were.
///
/// Takes the bodies' spheres and boxes and the corrected camera poses as given. A box goes to one body at most, a body
/// gets one calyx and one stem box an image at most; bodies that nothing tells about keep `None`. The result depends on
/// the input alone. O(images x bodies + sights), some 150 microseconds a body.
pub fn attach_parts(run: &Run, scene: &mut Scene, config: &PartsConfig) {
    let sights = Sights::new(run, scene, config);
    let points = sphere_points(SPHERE_POINTS);
    let mut habit = learn::prior(config);
    let (given, evidence, spheres) = give_calyces(&sights, scene, &points, &mut habit, config);
    let least: Vec<f64> = spheres
        .iter()
        .map(|s| s.best().map_or(0.0, |(_, l)| l))
        .collect();
    let pairing = Pairing {
        sights: &sights,
        bodies: &scene.bodies,
        evidence: &evidence,
        least: &least,
        config,
    };
    let (fits, held) = rounds::pair_stems(&pairing, &spheres, &mut habit);
    let models = pairing.models(config.bow_m);
    let mut found = Vec::with_capacity(fits.len());
    for (body_idx, fit) in fits.iter().enumerate() {
        let problem = pairing.problem(body_idx, habit, &held, &models);
        let axis = fit
            .as_ref()
            .and_then(|f| summarise(&spheres[body_idx], &problem, f));
        let stem = fit
            .as_ref()
            .and_then(|f| stem_of(f, &scene.bodies[body_idx], problem.boxes.len(), config));
        found.push((axis, stem));
    }
    for (body_idx, (axis, stem)) in found.into_iter().enumerate() {
        let body = &mut scene.bodies[body_idx];
        (body.axis, body.stem) = (axis, stem);
        (body.calyx_boxes, body.stem_boxes) = boxes_of(&sights, body_idx, &given, &held);
    }
}

/// Calyx boxes by image axes first, then by both; the image axes' deviation is learned in between.
fn give_calyces<'a>(
    sights: &Sights,
    scene: &Scene,
    points: &'a [Vector3<f64>],
    habit: &mut Habit,
    config: &PartsConfig,
) -> (calyx::CalyxOf, Vec<AxisEvidence>, Vec<Sphere<'a>>) {
    let none = vec![None; sights.all.len()];
    let mut evidence = calyx::evidence(sights, &scene.bodies, &none, config);
    let weigh = |e: &AxisEvidence, habit: &Habit| Sphere::new(points, e, habit.image_axis_rad);
    // some bodies tell of the detector what all do
    let some: Vec<(&AxisEvidence, Option<Vector3<f64>>)> = evidence
        .par_iter()
        .step_by(evidence.len().div_ceil(LEARN_FROM).max(1))
        .map(|e| (e, weigh(e, habit).best().map(|(a, _)| a)))
        .collect();
    learn::image_axes(habit, config, &some);
    let mut spheres: Vec<Sphere<'a>> = evidence.par_iter().map(|e| weigh(e, habit)).collect();
    let mut given = none;
    for _ in 0..2 {
        let least: Vec<f64> = spheres
            .iter()
            .map(|s| s.best().map_or(0.0, |(_, l)| l))
            .collect();
        let noise = AxisNoise {
            image_axis_rad: habit.image_axis_rad,
            slack_rad: config.bend_deviation_rad,
        };
        given = calyx::give(sights, &scene.bodies, &evidence, &least, noise, config);
        evidence = calyx::evidence(sights, &scene.bodies, &given, config);
        spheres
            .par_iter_mut()
            .zip(&evidence)
            .for_each(|(s, e)| s.set_poles(e));
    }
    (given, evidence, spheres)
}

fn stem_of(fit: &Fitted, body: &Body, views: usize, config: &PartsConfig) -> Option<Stem> {
    let far = fit.guess.far?;
    let top = fit.guess.axis * (-body.radius_m * config.length_over_diameter);
    let centre: Matrix3<f64> = body.covariance_m2.fixed_view::<3, 3>(0, 0).into_owned();
    let covariance = fit.far_covariance? + centre;
    Some(Stem {
        top: Point::from_vector(body.centre.xyz + top),
        far: Point::from_vector(body.centre.xyz + far),
        far_deviation_m: (covariance.trace() / 3.0).max(0.0).sqrt(),
        far_covariance_m2: covariance,
        views,
    })
}

/// Calyx and stem boxes of a body, ascending.
fn boxes_of(
    sights: &Sights,
    body_idx: usize,
    given: &calyx::CalyxOf,
    held: &StemOf,
) -> (Vec<BoxRef>, Vec<BoxRef>) {
    let (mut calyces, mut stems) = (Vec::new(), Vec::new());
    for i in sights.of_body(body_idx) {
        let image = sights.image(&sights.all[i]);
        let name = |detection_idx: u32| BoxRef {
            frame_idx: image.frame_idx,
            detection_idx,
        };
        calyces.extend(given[i].map(|b| name(image.calyces[b].detection_idx)));
        stems.extend(held[i].map(|(b, _)| name(image.stems[b].detection_idx)));
    }
    (calyces, stems)
}
