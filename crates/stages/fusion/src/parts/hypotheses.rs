//! Where the far end of a body's stem could be: candidate points from the corners of stem boxes.
//!
//! A corner whose opposite one lies at the fruit may show the far end. Two such corners of different images meet in a
//! point; one alone gives a point on its ray at stem length from the fruit. Each point is weighed over all images: how
//! well would the stem that it makes explain the best box of each?

use super::bids::{Offer, against, promise};
use super::fit::{Habit, Problem};
use super::piece::{EdgeModel, Piece};
use nalgebra::{Vector2, Vector3};

/// Images whose corners are crossed; more add nothing but time.
const LARGEST_VIEWS: usize = 12;
/// Corners of an image, those nearest the fruit first.
const LARGEST_CORNERS: usize = 12;
/// Points weighed.
const LARGEST_POINTS: usize = 120;
/// Images in which all points are weighed first.
const GLANCED_VIEWS: usize = 4;
/// Points that are weighed in all images then.
const LOOKED_AT: usize = 16;
/// Points kept.
const KEPT: usize = 8;
/// Crossings below which single corners are tried as well.
const FEW_CROSSINGS: usize = 12;
/// A stem shorter than this share of the usual is none.
const SHORTEST: f64 = 0.1;
/// Sine of the angle between rays below which they do not meet in a point.
const SMALLEST_SINE: f64 = 0.04;
/// Points nearer to each other than this are one, metres.
const SAME_M: f64 = 0.004;
/// Kept points are further apart than this, metres.
const DISTINCT_M: f64 = 0.006;

/// A corner of a stem box as a ray from the body's point of view.
struct Ray {
    image_idx: usize,
    /// Camera centre less the body's centre.
    origin: Vector3<f64>,
    /// Unit.
    along: Vector3<f64>,
    /// How far the opposite corner lies beyond the fruit's outline, metres.
    gap_m: f64,
}

/// The best candidates for a body, best first.
pub(super) fn hypotheses(
    problem: &Problem<'_>,
    body_idx: usize,
    models: &[EdgeModel],
) -> Vec<Offer> {
    let showing: Vec<usize> = problem
        .sights
        .of_body(body_idx)
        .filter(|&i| !problem.sights.all[i].stems.is_empty())
        .collect();
    let rays = rays(problem, &showing, models);
    let mut points = crossings(problem, &rays);
    if points.len() < FEW_CROSSINGS {
        for ray in &rays {
            points.extend(along_ray(ray, problem.radius_m, &problem.habit));
        }
    }
    let piece = |far| Piece::towards(far, problem.radius_m, problem.habit.sag, problem.config);
    let weighed = |p| (against(problem, &p), p);
    let pieces = distinct(points)
        .into_iter()
        .map(piece)
        .map(weighed)
        .collect();
    let glanced = every(&showing, GLANCED_VIEWS);
    let mut found = best_first(problem, &glanced, showing.len(), models, pieces);
    if glanced.len() < showing.len() {
        found.truncate(LOOKED_AT);
        found = best_first(problem, &showing, showing.len(), models, found);
    }
    let mut kept: Vec<Piece> = Vec::new();
    for (_, p) in found {
        if kept.len() < KEPT && kept.iter().all(|k| (k.far - p.far).norm() > DISTINCT_M) {
            kept.push(p);
        }
    }
    kept.into_iter()
        .map(|p| Offer::new(problem, body_idx, models, p))
        .collect()
}

/// A stem with what axis and length hold against it.
type Weighed = (f64, Piece);

/// Stems by what they promise in some sights of all that there are, most first.
fn best_first(
    problem: &Problem<'_>,
    sights: &[usize],
    all: usize,
    models: &[EdgeModel],
    pieces: Vec<Weighed>,
) -> Vec<Weighed> {
    // counts of images
    let weight = all as f64 / sights.len().max(1) as f64;
    let worth = |(against, p): &Weighed| weight * promise(problem, sights, models, p) - against;
    let mut ranked: Vec<(f64, Weighed)> = pieces.into_iter().map(|w| (worth(&w), w)).collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    ranked.into_iter().map(|(_, w)| w).collect()
}

/// At most `most` of a list, evenly spread.
fn every(list: &[usize], most: usize) -> Vec<usize> {
    let step = list.len().div_ceil(most).max(1);
    list.iter().step_by(step).copied().collect()
}

fn rays(problem: &Problem<'_>, showing: &[usize], models: &[EdgeModel]) -> Vec<Ray> {
    let mut out = Vec::new();
    for i in every(showing, LARGEST_VIEWS) {
        let mut of_sight = Vec::new();
        for &b in &problem.sights.all[i].stems {
            corners(problem, i, b, &models[i], &mut of_sight);
        }
        of_sight.sort_by(|a: &Ray, b| a.gap_m.total_cmp(&b.gap_m));
        of_sight.truncate(LARGEST_CORNERS);
        out.extend(of_sight);
    }
    out
}

/// The corners of a box that could show the far end: the opposite corner lies nearer to the fruit, and near enough.
fn corners(
    problem: &Problem<'_>,
    sight_idx: usize,
    box_idx: usize,
    model: &EdgeModel,
    out: &mut Vec<Ray>,
) {
    let sight = &problem.sights.all[sight_idx];
    let image = problem.sights.image(sight);
    let b = &image.stems[box_idx];
    let (at, z) = (sight.at(), sight.p_in_camera.z);
    let middle = b.centre();
    let half = (0.5 * (b.high - b.low)).map(|h| (h - model.margin).max(0.0));
    let outline = problem.radius_m * problem.config.length_over_diameter;
    let flat = [half.x < model.sigma, half.y < model.sigma];
    for (sx, sy) in [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)] {
        // of a box as thin as its noise the two corners are one
        if (flat[0] && sx > 0.0) || (flat[1] && sy > 0.0) {
            continue;
        }
        let arm = Vector2::new(
            if flat[0] { 0.0 } else { sx * half.x },
            if flat[1] { 0.0 } else { sy * half.y },
        );
        let (far, near) = (middle + arm, middle - arm);
        let gap_m = ((near - at).norm() * z - outline).max(0.0);
        if (far - at).norm() <= (near - at).norm() || gap_m > problem.config.largest_gap_m {
            continue;
        }
        let seen = far - sight.shift;
        let along = image.turn.transpose() * Vector3::new(seen.x, seen.y, 1.0).normalize();
        let origin = -(image.turn.transpose() * sight.p_in_camera);
        out.push(Ray {
            image_idx: sight.image_idx,
            origin,
            along,
            gap_m,
        });
    }
}

/// Points where rays of two images meet at stem length from the fruit; those that meet best come first.
fn crossings(problem: &Problem<'_>, rays: &[Ray]) -> Vec<Vector3<f64>> {
    let tolerance_m = 3.0 * (problem.config.bow_m + 0.002);
    let mut found: Vec<(f64, Vector3<f64>)> = Vec::new();
    for (i, a) in rays.iter().enumerate() {
        for b in rays[..i].iter().filter(|b| b.image_idx != a.image_idx) {
            let across = a.along.cross(&b.along);
            let sine_squared = across.norm_squared();
            if sine_squared < SMALLEST_SINE * SMALLEST_SINE {
                continue;
            }
            let between = b.origin - a.origin;
            let volume = between.dot(&across);
            if volume * volume > tolerance_m * tolerance_m * sine_squared {
                continue;
            }
            let gap = volume.abs() / sine_squared.sqrt();
            let s = between.cross(&b.along).dot(&across) / sine_squared;
            let t = between.cross(&a.along).dot(&across) / sine_squared;
            let far = 0.5 * (a.origin + a.along * s + b.origin + b.along * t);
            if within_reach(problem, &far) {
                found.push((gap + a.gap_m + b.gap_m, far));
            }
        }
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found.into_iter().map(|(_, far)| far).collect()
}

fn within_reach(problem: &Problem<'_>, far: &Vector3<f64>) -> bool {
    let away = far.norm() - problem.radius_m;
    away > SHORTEST * problem.habit.length_m[0] && away < problem.config.longest_stem_m
}

/// Points on a ray at stem length from the fruit, before and behind it; where the ray passes further away, its nearest.
fn along_ray(ray: &Ray, radius_m: f64, habit: &Habit) -> Vec<Vector3<f64>> {
    let nearest = -ray.origin.dot(&ray.along);
    let foot = ray.origin + ray.along * nearest;
    let [mean, deviation] = habit.length_m;
    let mut out = Vec::new();
    for length in [mean - deviation, mean, mean + deviation] {
        let reach = radius_m + length;
        let left = reach * reach - foot.norm_squared();
        if left > 0.0 {
            let depth = ray.along * left.sqrt();
            out.extend([foot - depth, foot + depth]);
        } else if foot.norm() < reach + deviation {
            out.push(foot);
        }
    }
    out
}

fn distinct(points: Vec<Vector3<f64>>) -> Vec<Vector3<f64>> {
    let mut out: Vec<Vector3<f64>> = Vec::new();
    for p in points {
        if out.len() == LARGEST_POINTS {
            break;
        }
        if out.iter().all(|q| (p - q).norm_squared() > SAME_M * SAME_M) {
            out.push(p);
        }
    }
    out
}
