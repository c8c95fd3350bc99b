//! What else a detector does: merges, doubles and invents boxes.

use super::At;
use super::boxes::Found;
use crate::lens::Lens;
use crate::spec::SceneSpec;
use crate::streams::{Draw, Purpose, Streams};
use corymb_model::run::{Class, Detection};
use rand_chacha::ChaCha8Rng;

/// Distance at which an invented body would hang, metres.
const INVENTED_AT_M: [f64; 2] = [0.5, 0.95];
/// Sides of boxes to be ignored, pixels.
const IGNORED_PX: [f64; 2] = [20.0, 220.0];

/// Joins some overlapping pairs of body boxes; the joint box shows the larger of the two.
pub(super) fn merge(spec: &SceneSpec, found: &mut Vec<Found>, at: At, streams: &Streams) {
    let d = &spec.detector;
    if d.merge_probability <= 0.0 {
        return;
    }
    let mut rng = streams.rng(Purpose::Merge, at.number, 0);
    let mut gone = vec![false; found.len()];
    for i in 0..found.len() {
        for j in i + 1..found.len() {
            let both =
                [&found[i], &found[j]].map(|f| f.label.is_some() && f.detection.class.is_body());
            if gone[i] || gone[j] || both != [true, true] {
                continue;
            }
            let (a, b) = (found[i].detection.box_px, found[j].detection.box_px);
            if overlap(&a, &b) < d.merge_from_overlap || !rng.chance(d.merge_probability) {
                continue;
            }
            let (kept, lost) = if area(&a) >= area(&b) { (i, j) } else { (j, i) };
            found[kept].detection.box_px = [
                a[0].min(b[0]),
                a[1].min(b[1]),
                a[2].max(b[2]),
                a[3].max(b[3]),
            ];
            gone[lost] = true;
        }
    }
    let mut gone = gone.into_iter();
    found.retain(|_| !gone.next().unwrap_or(false));
}

/// Adds a second, looser and less sure box around some bodies.
pub(super) fn duplicate(spec: &SceneSpec, found: &mut Vec<Found>, at: At, streams: &Streams) {
    let d = &spec.detector;
    if d.duplicate_probability <= 0.0 {
        return;
    }
    let mut rng = streams.rng(Purpose::Duplicate, at.number, 0);
    let bodies: Vec<Found> = found
        .iter()
        .filter(|f| f.detection.class.is_body())
        .cloned()
        .collect();
    for mut again in bodies {
        let chosen = rng.chance(d.duplicate_probability);
        let b = again.detection.box_px;
        let loose = 0.08 * (b[2] - b[0]).hypot(b[3] - b[1]);
        let moved = b.map(|edge| edge + rng.normal(loose));
        let less = rng.between([0.4, 0.85]);
        if chosen {
            again.detection.box_px = moved;
            again.detection.score *= less;
            again.detection.track = None;
            found.push(again);
        }
    }
}

/// Adds boxes that show nothing, and boxes of other things.
pub(super) fn invent(
    spec: &SceneSpec,
    found: &mut Vec<Found>,
    lens: &Lens,
    at: At,
    streams: &Streams,
) {
    let d = &spec.detector;
    let mut rng = streams.rng(Purpose::FalseBox, at.number, 0);
    for _ in 0..rng.count(d.false_per_image) {
        let diameter_m = 1e-3 * rng.between(spec.sizes().bounds_mm);
        let side_px = lens.pixels_per_unit() * diameter_m / rng.between(INVENTED_AT_M);
        let class = spec.crop.kind.class(false);
        found.push(box_at_random(class, side_px, 0.1, lens, &mut rng));
    }
    let mut rng = streams.rng(Purpose::FalseBox, at.number, 1);
    for _ in 0..rng.count(d.ignored_per_image) {
        let side_px = rng.between(IGNORED_PX);
        found.push(box_at_random(Class::Ignore, side_px, 0.3, lens, &mut rng));
    }
}

fn box_at_random(
    class: Class,
    side_px: f64,
    uneven: f64,
    lens: &Lens,
    rng: &mut ChaCha8Rng,
) -> Found {
    let [width, height] = lens.size_px();
    let stretch = rng.normal(uneven).exp();
    let (w, h) = (side_px * stretch, side_px / stretch);
    let (x, y) = (rng.between([0.0, width]), rng.between([0.0, height]));
    let detection = Detection {
        class,
        score: 1.0 / (1.0 + rng.normal(1.0).exp()),
        box_px: [x - 0.5 * w, y - 0.5 * h, x + 0.5 * w, y + 0.5 * h],
        depth_m: None,
        axis_px: None,
        damaged: None,
        track: None,
    };
    Found {
        detection,
        label: None,
    }
}

fn area(b: &[f64; 4]) -> f64 {
    (b[2] - b[0]).max(0.0) * (b[3] - b[1]).max(0.0)
}

/// Intersection over the smaller of the two.
fn overlap(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    let common = [
        a[0].max(b[0]),
        a[1].max(b[1]),
        a[2].min(b[2]),
        a[3].min(b[3]),
    ];
    area(&common) / area(a).min(area(b)).max(1e-9)
}
