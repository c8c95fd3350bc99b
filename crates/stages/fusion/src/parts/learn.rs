//! What the run itself shows: how long its stems are, how well its detector tells image axes.
//!
//! Medians, so that wrong pairs do not count, drawn towards the stated priors by [`PRIOR_COUNT`] observations' weight.

use super::PartsConfig;
use super::direction::AxisEvidence;
use super::fit::Habit;
use super::pairing::StemOf;
use super::piece::Piece;
use super::sights::Sights;
use nalgebra::Vector3;

/// How many observations a prior weighs.
const PRIOR_COUNT: f64 = 20.0;
/// Observations of an axis from which on its residuals count.
const ENOUGH_AXES: usize = 4;
/// Images that must show a stem for its length to count.
const ENOUGH_VIEWS: usize = 3;

/// Before anything was seen.
pub(super) fn prior(config: &PartsConfig) -> Habit {
    Habit {
        length_m: [config.stem_length_m, config.stem_length_deviation_m],
        image_axis_rad: config.image_axis_deviation_rad,
        sag: 0.0,
    }
}

/// With the image axes of bodies whose axis is known from several.
pub(super) fn image_axes(
    habit: &mut Habit,
    config: &PartsConfig,
    bodies: &[(&AxisEvidence, Option<Vector3<f64>>)],
) {
    let mut angles = Vec::new();
    for (e, axis) in bodies {
        if let (Some(axis), true) = (axis, e.len() >= ENOUGH_AXES) {
            // two of the observations went into the axis itself
            // counts of images
            let freed = (e.len() as f64 / (e.len() - 2) as f64).sqrt();
            angles.extend(e.image_angles(axis).map(|a| a.abs() * freed));
        }
    }
    let count = angles.len();
    if let Some(m) = median(&mut angles) {
        habit.image_axis_rad = blend(config.image_axis_deviation_rad, 1.4826 * m, count);
    }
}

/// With the angle between axes (as all evidence but the stem has them) and stems' chords: what weight bends a stem by
/// at its end is four times what it bends it out of its chord in the middle.
pub(super) fn sag(
    habit: &mut Habit,
    evidence: &[AxisEvidence],
    axes: &[Option<Vector3<f64>>],
    pieces: &[Option<Piece>],
) {
    let mut sags = Vec::new();
    for ((e, axis), piece) in evidence.iter().zip(axes).zip(pieces) {
        let (Some(axis), Some(piece)) = (axis, piece) else {
            continue;
        };
        let Some(along) = (piece.top - piece.far).try_normalize(1e-9) else {
            continue;
        };
        let rise = Vector3::z() - along * along.z;
        let known = e.poles() > 0 || e.len() >= ENOUGH_AXES;
        if known && rise.norm_squared() > 0.25 && axis.dot(&along) > 0.5 {
            sags.push(-(axis - along).dot(&rise) / (4.0 * rise.norm_squared()));
        }
    }
    let count = sags.len();
    if let Some(m) = median(&mut sags) {
        habit.sag = blend(0.0, m, count);
    }
}

/// With the lengths of stems that several images show.
pub(super) fn lengths(
    habit: &mut Habit,
    config: &PartsConfig,
    sights: &Sights,
    pieces: &[Option<Piece>],
    held: &StemOf,
) {
    let shown = |body_idx: usize| {
        sights
            .of_body(body_idx)
            .filter(|&i| held[i].is_some())
            .count()
            >= ENOUGH_VIEWS
    };
    let pieces = pieces.iter().enumerate().filter(|(b, _)| shown(*b));
    let mut lengths: Vec<f64> = pieces
        .filter_map(|(_, p)| p.as_ref().map(Piece::length_m))
        .collect();
    let count = lengths.len();
    if let Some(m) = median(&mut lengths) {
        let mut away: Vec<f64> = lengths.iter().map(|l| (l - m).abs()).collect();
        let spread = 1.4826 * median(&mut away).unwrap_or_default();
        habit.length_m = [
            blend(config.stem_length_m, m, count),
            blend(config.stem_length_deviation_m, spread, count).max(0.1 * m),
        ];
    }
}

fn blend(prior: f64, seen: f64, count: usize) -> f64 {
    // counts of boxes
    let n = count as f64;
    (PRIOR_COUNT * prior + n * seen) / (PRIOR_COUNT + n)
}

fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
