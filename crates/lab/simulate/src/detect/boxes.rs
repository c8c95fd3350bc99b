//! From what can be seen to what is boxed: chance, score, noise.

use super::{At, track};
use crate::grow::{Crop, TrueBody};
use crate::lens::Lens;
use crate::look::{Part, Sighting};
use crate::spec::{DetectorSpec, PartSpec, SceneSpec};
use crate::streams::{Draw, Purpose, Streams};
use corymb_model::run::{Class, Detection};
use rand_chacha::ChaCha8Rng;

/// Set in the number of a look-alike, so that its streams are its own.
const PHANTOM_BIT: u64 = 1 << 40;
/// Scores are written to this.
const SCORE_STEP: f64 = 1e-4;
/// Depths are written to this, metres.
const DEPTH_STEP_M: f64 = 1e-4;
/// An outlying depth is off by this much, metres.
const DEPTH_OUTLIER_M: [f64; 2] = [0.05, 0.6];
/// Directions seen more end-on than this carry no image direction (share of the axis across the line of sight).
const LEAST_ACROSS: f64 = 0.15;

/// A detection with its true label.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub(super) detection: Detection,
    pub(super) label: Option<usize>,
}

/// The boxes that the detector draws around what it could see.
pub(super) fn found(
    spec: &SceneSpec,
    crop: &Crop,
    sightings: &[Sighting],
    lens: &Lens,
    at: At,
    streams: &Streams,
) -> Vec<Found> {
    let one = |s: &Sighting| {
        let bodies = if s.phantom {
            &crop.phantoms
        } else {
            &crop.bodies
        };
        detect(spec, bodies.get(s.body_idx)?, s, lens, at, streams)
    };
    sightings.iter().filter_map(one).collect()
}

fn detect(
    spec: &SceneSpec,
    body: &TrueBody,
    sighting: &Sighting,
    lens: &Lens,
    at: At,
    streams: &Streams,
) -> Option<Found> {
    let d = &spec.detector;
    let item = item(sighting);
    let mut rng = streams.rng(Purpose::Detect, at.number, item);
    let quality = quality(part_spec(d, sighting.part), sighting);
    let base = base_probability(d, sighting, streams);
    if !rng.chance(base * quality) {
        return None;
    }
    let score = logistic(4.0 * quality - 1.2 + rng.normal(0.6));
    let class = class(d, body, sighting.part, &mut rng);
    let of_body = sighting.part == Part::Body;
    let axis_px = if of_body {
        axis(d, sighting, &mut rng)
    } else {
        None
    };
    let damaged = (of_body && d.damaged_share > 0.0).then(|| damage_score(body, &mut rng));
    let track = (of_body && !sighting.phantom && d.track.given)
        .then(|| track::name(d.track.switch_probability, sighting.body_idx, at, streams));
    let detection = Detection {
        class,
        score,
        box_px: noisy(d, sighting, lens, at, streams),
        depth_m: depth(d, sighting, &mut rng),
        axis_px,
        damaged,
        track,
    };
    Some(Found {
        detection,
        label: (!sighting.phantom).then_some(sighting.body_idx),
    })
}

fn item(sighting: &Sighting) -> u64 {
    let phantom = if sighting.phantom { PHANTOM_BIT } else { 0 };
    (sighting.body_idx as u64 * 4 + sighting.part as u64) | phantom
}

fn part_spec(d: &DetectorSpec, part: Part) -> &PartSpec {
    match part {
        Part::Body => &d.body,
        Part::Stem => &d.stem,
        Part::Calyx => &d.calyx,
    }
}

/// How much of the full chance is left: by the visible share, straight between its two bounds, and by the size.
fn quality(part: &PartSpec, s: &Sighting) -> f64 {
    let span = part.full_above_share - part.never_below_share;
    let over = s.visible_share - part.never_below_share;
    let by_share = if over < 0.0 {
        0.0
    } else if span > 0.0 {
        (over / span).min(1.0)
    } else {
        1.0
    };
    let b = &s.box_px;
    let size_px = ((b[2] - b[0]).max(0.0) * (b[3] - b[1]).max(0.0)).sqrt();
    let relative = if part.half_size_px > 0.0 {
        size_px / part.half_size_px
    } else {
        f64::INFINITY
    };
    by_share * (1.0 - 0.5_f64.powf(relative * relative))
}

fn base_probability(d: &DetectorSpec, s: &Sighting, streams: &Streams) -> f64 {
    if s.phantom {
        return d.false_object_probability;
    }
    let p = part_spec(d, s.part).probability;
    if p <= 0.0 || p >= 1.0 {
        return p;
    }
    let mut rng = streams.rng(Purpose::Visibility, s.body_idx as u64, 0);
    logistic((p / (1.0 - p)).ln() + rng.normal(d.body_logit_deviation))
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

fn class(d: &DetectorSpec, body: &TrueBody, part: Part, rng: &mut ChaCha8Rng) -> Class {
    let confused = rng.chance(d.king_confusion);
    match (part, body.class) {
        (Part::Stem, _) => Class::Stem,
        (Part::Calyx, _) => Class::Calyx,
        (Part::Body, Class::KingFlower) if confused => Class::Flower,
        (Part::Body, Class::Flower) if confused => Class::KingFlower,
        (Part::Body, class) => class,
    }
}

fn axis(d: &DetectorSpec, s: &Sighting, rng: &mut ChaCha8Rng) -> Option<[f64; 2]> {
    let given = rng.chance(d.axis.probability);
    let turn = rng.normal(d.axis.deviation_deg.to_radians());
    let ([x, y], across) = s.axis_px?;
    if !given || across < LEAST_ACROSS {
        return None;
    }
    let (sin, cos) = (turn / across).sin_cos();
    Some([x * cos - y * sin, x * sin + y * cos])
}

fn depth(d: &DetectorSpec, s: &Sighting, rng: &mut ChaCha8Rng) -> Option<f64> {
    let given = rng.chance(d.depth.probability);
    let error_m = rng.normal(d.depth.deviation_m);
    let outlier = rng.chance(d.depth.outlier_share);
    let further_m = rng.between(DEPTH_OUTLIER_M);
    let value_m = s.near_m + if outlier { further_m } else { error_m };
    (given && value_m > 0.0).then(|| (value_m / DEPTH_STEP_M).round() * DEPTH_STEP_M)
}

fn damage_score(body: &TrueBody, rng: &mut ChaCha8Rng) -> f64 {
    let centre = if body.damaged { 0.75 } else { 0.2 };
    round_to((centre + rng.normal(0.12)).clamp(0.0, 1.0), SCORE_STEP)
}

/// The box with the noise of the image and the part that is constant for a body and camera. An edge at the image
/// border stays there.
fn noisy(d: &DetectorSpec, s: &Sighting, lens: &Lens, at: At, streams: &Streams) -> [f64; 4] {
    let mut white = streams.rng(Purpose::EdgeNoise, at.number, item(s));
    let mut constant = streams.rng(Purpose::EdgeConstant, item(s), at.camera_idx as u64);
    let size_px = lens.size_px();
    let mut box_px = s.box_px;
    for (k, edge) in box_px.iter_mut().enumerate() {
        let error_px = white.normal(d.edge_white_px) + constant.normal(d.edge_constant_px);
        let at_border = *edge <= 0.0 || *edge >= size_px[k % 2];
        if !at_border {
            *edge += error_px;
        }
    }
    box_px
}

/// Cuts at the border and rounds; `false` where too little is left for a box.
pub(super) fn finish(spec: &SceneSpec, found: &mut Found, lens: &Lens) -> bool {
    let d = &mut found.detection;
    let size_px = lens.size_px();
    for (k, edge) in d.box_px.iter_mut().enumerate() {
        *edge = round_to(*edge, spec.detector.box_step_px).clamp(0.0, size_px[k % 2]);
    }
    d.score = round_to(d.score, SCORE_STEP);
    let least_px = spec.detector.least_side_px;
    d.box_px[2] - d.box_px[0] >= least_px && d.box_px[3] - d.box_px[1] >= least_px
}

/// The multiple of `step` nearest to `value`, printed as short as the step is.
pub(super) fn round_to(value: f64, step: f64) -> f64 {
    if step <= 0.0 {
        return value;
    }
    // dividing by a whole number of steps a unit gives the double nearest to the decimal
    let per_unit = (1.0 / step).round();
    if (per_unit * step - 1.0).abs() < 1e-9 {
        (value * per_unit).round() / per_unit
    } else {
        (value / step).round() * step
    }
}
