//! Stems and calyx ends go to the fruit whose box is nearest in the image.

use super::Found;
use super::cameras::box_ref;
use corymb_model::run::{BoxRef, Class, Run};
use std::collections::BTreeMap;

/// Further than this many sides of the fruit's box a stem is nobody's.
const MOST_SIDES: f64 = 1.0;

/// The stem and calyx boxes of each fruit.
pub(super) fn of_fruit(run: &Run, found: &[Found]) -> Vec<Vec<(BoxRef, Class)>> {
    let mut bodies: BTreeMap<u32, Vec<(usize, [f64; 4])>> = BTreeMap::new();
    for (k, fruit) in found.iter().enumerate() {
        for &at in &fruit.boxes {
            if let Some(d) = run.detection(at) {
                bodies.entry(at.frame_idx).or_default().push((k, d.box_px));
            }
        }
    }
    let mut parts = vec![Vec::new(); found.len()];
    for (f, frame) in run.frames.iter().enumerate() {
        for (d, detection) in frame.detections.iter().enumerate() {
            let class = detection.class;
            let (true, Some(at)) = (matches!(class, Class::Stem | Class::Calyx), box_ref(f, d))
            else {
                continue;
            };
            let here = bodies.get(&at.frame_idx).map_or(&[][..], Vec::as_slice);
            if let Some(k) = nearest(here, &detection.box_px) {
                parts[k].push((at, class));
            }
        }
    }
    parts
}

fn nearest(bodies: &[(usize, [f64; 4])], part: &[f64; 4]) -> Option<usize> {
    let gap = |body: &[f64; 4]| {
        let apart = |k: usize| (body[k].max(part[k]) - body[k + 2].min(part[k + 2])).max(0.0);
        apart(0).hypot(apart(1)) / (body[2] - body[0]).max(1.0)
    };
    bodies
        .iter()
        .map(|(k, b)| (gap(b), centre_distance(b, part), *k))
        .filter(|(gap, _, _)| *gap <= MOST_SIDES)
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)))
        .map(|(_, _, k)| k)
}

fn centre_distance(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    let apart = |k: usize| (a[k] + a[k + 2] - b[k] - b[k + 2]) / 2.0;
    apart(0).hypot(apart(1))
}
