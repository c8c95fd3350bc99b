//! Tracks in one camera: each predicted into the next image, matched to its boxes by overlap.

use super::cameras::{Placement, box_ref};
use super::{Found, PlainConfig};
use corymb_geometry::assign::assign;
use corymb_geometry::sphere::sphere_box;
use corymb_model::run::{BoxRef, Run};

/// Boxes that the prediction of a track rests on.
const RECENT: usize = 8;
/// Shifts this near agree, pixels.
const AGREE_PX: f64 = 6.0;

struct Track {
    boxes: Vec<BoxRef>,
    sphere: Found,
    missed: usize,
}

/// All tracks of a camera that have enough boxes, triangulated.
pub(super) fn tracks(
    run: &Run,
    placement: &Placement,
    camera: usize,
    config: &PlainConfig,
) -> Vec<Found> {
    let (mut live, mut done) = (Vec::<Track>::new(), Vec::new());
    for (f, frame) in run.frames.iter().enumerate() {
        if frame.camera_idx != camera {
            continue;
        }
        let boxes: Vec<BoxRef> = (0..frame.detections.len())
            .filter_map(|d| box_ref(f, d))
            .filter(|&at| placement.knows(at))
            .collect();
        let matched = match_boxes(run, placement, f, &live, &boxes, config);
        let mut taken = vec![false; boxes.len()];
        for (track, to) in live.iter_mut().zip(&matched) {
            match to {
                Some(k) => {
                    taken[*k] = true;
                    extend(placement, track, boxes[*k]);
                }
                None => track.missed += 1,
            }
        }
        let gone: Vec<Track> = live
            .extract_if(.., |t| t.missed > config.survives)
            .collect();
        done.extend(gone);
        for (at, _) in boxes.iter().zip(taken).filter(|(_, taken)| !taken) {
            live.extend(begin(placement, *at));
        }
    }
    done.extend(live);
    let enough = |t: &Track| t.boxes.len() >= config.least_boxes;
    done.iter()
        .filter(|t| enough(t))
        .filter_map(|t| placement.sphere(&t.boxes))
        .collect()
}

/// The box, by position in `boxes`, that each track goes on with.
fn match_boxes(
    run: &Run,
    placement: &Placement,
    frame: usize,
    live: &[Track],
    boxes: &[BoxRef],
    config: &PlainConfig,
) -> Vec<Option<usize>> {
    let lens = &placement.lenses[run.frames[frame].camera_idx];
    let Some(camera) = &placement.orchard_from_camera[frame] else {
        return vec![None; live.len()];
    };
    let predict = |t: &Track| {
        let c_in_camera = camera.inverse_transform_point(&t.sphere.centre.into());
        sphere_box(lens, &c_in_camera.coords, t.sphere.radius_m).ok()
    };
    let predicted: Vec<Option<[f64; 4]>> = live.iter().map(predict).collect();
    let detected: Vec<[f64; 4]> = boxes
        .iter()
        .filter_map(|&at| Some(run.detection(at)?.box_px))
        .collect();
    let shift = common_shift(&predicted, &detected, config.search_px);
    let cost = |p: &Option<[f64; 4]>, d: &[f64; 4]| {
        let iou = p.map_or(0.0, |p| overlap(&moved(&p, shift), d));
        if iou >= config.least_overlap {
            1.0 - iou
        } else {
            f64::INFINITY
        }
    };
    let costs: Vec<f64> = predicted
        .iter()
        .flat_map(|p| detected.iter().map(move |d| cost(p, d)))
        .collect();
    assign(&costs, live.len(), boxes.len(), &vec![1.0; live.len()])
}

/// The shift of all predictions that most boxes agree on: a pose that is off moves everything alike.
fn common_shift(predicted: &[Option<[f64; 4]>], detected: &[[f64; 4]], search_px: f64) -> [f64; 2] {
    let mut shifts: Vec<[f64; 2]> = Vec::new();
    for p in predicted.iter().flatten() {
        for d in detected {
            let by = [0, 1].map(|k| (d[k] + d[k + 2] - p[k] - p[k + 2]) / 2.0);
            if by.iter().all(|x| x.abs() <= search_px) {
                shifts.push(by);
            }
        }
    }
    shifts.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    // only shifts that are near in x can agree
    let beside = |a: &[f64; 2]| {
        let from = shifts.partition_point(|b| b[0] < a[0] - AGREE_PX);
        let to = shifts.partition_point(|b| b[0] <= a[0] + AGREE_PX);
        &shifts[from..to]
    };
    let agree = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]) <= AGREE_PX;
    let votes = |a: &[f64; 2]| beside(a).iter().filter(|b| agree(a, b)).count();
    let Some(best) = shifts.iter().max_by_key(|a| votes(a)) else {
        return [0.0, 0.0];
    };
    let agreeing: Vec<&[f64; 2]> = beside(best).iter().filter(|b| agree(best, b)).collect();
    [0, 1].map(|k| agreeing.iter().map(|s| s[k]).sum::<f64>() / agreeing.len() as f64)
}

fn moved(b: &[f64; 4], [x, y]: [f64; 2]) -> [f64; 4] {
    [b[0] + x, b[1] + y, b[2] + x, b[3] + y]
}

fn begin(placement: &Placement, at: BoxRef) -> Option<Track> {
    Some(Track {
        boxes: vec![at],
        sphere: placement.sphere(&[at])?,
        missed: 0,
    })
}

fn extend(placement: &Placement, track: &mut Track, at: BoxRef) {
    track.boxes.push(at);
    track.missed = 0;
    let recent = &track.boxes[track.boxes.len().saturating_sub(RECENT)..];
    if let Some(sphere) = placement.sphere(recent) {
        track.sphere = sphere;
    }
}

/// Intersection over union.
fn overlap(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    let side = |k: usize| (a[k + 2].min(b[k + 2]) - a[k].max(b[k])).max(0.0);
    let area = |r: &[f64; 4]| (r[2] - r[0]) * (r[3] - r[1]);
    let both = side(0) * side(1);
    both / (area(a) + area(b) - both).max(f64::MIN_POSITIVE)
}
