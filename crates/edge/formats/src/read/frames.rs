//! `frames.jsonl`.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::lines::{diagnose, read_lines};
use crate::problem::{Problem, Problems};
use crate::read::checks::{filled, positive, share, unknown_name};
use crate::read::document::Loaded;
use crate::read::run::RunHead;
use crate::shape::Shape;
use crate::source::{Located, file_problem};
use crate::wire::frames::{DetectionWire, FrameLine};
use corymb_model::run::{Camera, Class, Detection, Frame};
use std::collections::HashMap;

/// How far a box may reach beyond the image, as a share of the image's width or height: detectors that fit boxes freely
/// overshoot a little; boxes of an image of another size overshoot much.
pub const BOX_OUTSIDE_SHARE: f64 = 0.1;

/// What a frame's line is checked against.
pub(crate) struct FramesContext<'a> {
    /// `run.json`; `None` where it has problems itself, and names cannot be checked.
    head: Option<&'a RunHead>,
    poses_there: bool,
    limits: &'a Limits,
    shape: Shape,
}

/// All images, in order.
pub(crate) struct Frames {
    pub(crate) frames: Vec<Frame>,
    pub(crate) warnings: Vec<Problem>,
}

impl<'a> FramesContext<'a> {
    pub(crate) fn new(head: Option<&'a RunHead>, poses_there: bool, limits: &'a Limits) -> Self {
        Self {
            head,
            poses_there,
            limits,
            shape: Shape::of::<FrameLine<'static>>(),
        }
    }
}

/// Reads all images and orders them by time, then camera, then id.
pub(crate) fn read_frames(
    located: &Located,
    context: &FramesContext<'_>,
) -> Result<Loaded<Frames>, Problems> {
    let limits = context.limits;
    let mut frames: Vec<(u64, Frame)> = Vec::new();
    let mut boxes = 0;
    let parse = |no: u64, bytes: &[u8]| parse_frame(&located.name, no, bytes, context);
    let ending = read_lines(located, limits, parse, |no, frame: Frame| {
        boxes += frame.detections.len();
        frames.push((no, frame));
        if boxes <= limits.detections {
            return Ok(());
        }
        let [found, expected] =
            ["more than", "at most"].map(|w| format!("{w} {} detections", limits.detections));
        Err(file_problem(
            Code::TooManyRecords,
            &located.name,
            found,
            expected,
        ))
    })?;
    let mut problems = ending.problems;
    problems
        .list
        .extend(repeated_ids(&located.name, &frames).take(limits.problems + 1));
    let problems = problems.in_order(&located.name, limits.problems);
    frames.sort_by(|(_, a), (_, b)| {
        a.time_s
            .total_cmp(&b.time_s)
            .then(a.camera_idx.cmp(&b.camera_idx))
            .then_with(|| a.id.cmp(&b.id))
    });
    let warnings = differing_poses(&located.name, &frames, limits);
    let frames = frames.into_iter().map(|(_, frame)| frame).collect();
    let value = Frames { frames, warnings };
    problems.or_else(Loaded {
        value,
        file_name: located.name.clone(),
        sha256: ending.sha256,
    })
}

/// The quick way: straight into the model. Only a line with a problem is looked at a second time.
fn parse_frame(
    file: &str,
    no: u64,
    bytes: &[u8],
    context: &FramesContext<'_>,
) -> Result<Frame, Problems> {
    if let Ok(line) = serde_json::from_slice::<FrameLine<'_>>(bytes) {
        let mut findings = Findings::up_to(context.limits.problems);
        let frame = check_frame(line, context, &mut findings);
        if findings.is_empty() {
            return Ok(frame);
        }
    }
    Err(diagnose(
        &(file, no, bytes),
        &context.shape,
        context.limits,
        |line: FrameLine<'_>, out| {
            check_frame(line, context, out);
        },
    ))
}

fn check_frame(line: FrameLine<'_>, context: &FramesContext<'_>, out: &mut Findings) -> Frame {
    filled(&line.frame.0, || place!["frame"], out);
    let cameras = context.head.map(|h| h.cameras.as_slice());
    let camera_idx = cameras.and_then(|all| all.iter().position(|c| c.id == line.camera.0));
    if let (Some(all), None) = (cameras, camera_idx) {
        let known = all.iter().map(|c| c.id.as_str());
        out.push(unknown_name(
            Code::CameraUnknown,
            place!["camera"],
            &line.camera.0,
            known,
            "camera",
        ));
    }
    out.unless(
        line.orchard_from_rig.is_some() || context.poses_there,
        || {
            Finding::new(
                Code::PoseMissing,
                place!["orchard_from_rig"],
                "a pose, as there is no poses.jsonl",
            )
            .found("nothing")
        },
    );
    let camera = camera_idx.and_then(|at| cameras.and_then(|all| all.get(at)));
    let detections = line.detections.into_iter().enumerate();
    Frame {
        id: line.frame.0.into_owned(),
        camera_idx: camera_idx.unwrap_or(0),
        time_s: line.time_s.0,
        orchard_from_rig: line
            .orchard_from_rig
            .map(|p| p.check(|| place!["orchard_from_rig"], out)),
        pass: line.pass.map(|p| p.0.into_owned()),
        detections: detections
            .map(|(at, d)| check_detection(d, at, camera, context.head, out))
            .collect(),
    }
}

fn check_detection(
    wire: DetectionWire<'_>,
    at: usize,
    camera: Option<&Camera>,
    head: Option<&RunHead>,
    out: &mut Findings,
) -> Detection {
    let here = |name: &str| place!["detections", at, name];
    let class = head.map(|h| h.labels.iter().find(|(label, _)| *label == wire.class.0));
    if let (Some(head), Some(None)) = (head, class) {
        let known = head.labels.iter().map(|(label, _)| label.as_str());
        out.push(unknown_name(
            Code::LabelUnknown,
            here("class"),
            &wire.class.0,
            known,
            "label",
        ));
    }
    let class = class.flatten().map_or(Class::Ignore, |(_, class)| *class);
    out.unless((0.0..=1.0).contains(&wire.score.0), || {
        Finding::new(Code::ScoreRange, here("score"), "a number from 0 to 1")
    });
    let box_px = wire.box_px.map(|n| n.0);
    check_box(&box_px, camera, || here("box_px"), out);
    Detection {
        class,
        score: wire.score.0,
        box_px,
        depth_m: wire.depth_m.map(|n| positive(n, || here("depth_m"), out)),
        axis_px: wire
            .axis_px
            .and_then(|a| check_axis(a.map(|n| n.0), class, || here("axis_px"), out)),
        damaged: wire.damaged.map(|n| share(n, || here("damaged"), out)),
        track: wire.track.map(|t| t.0.into_owned()),
    }
}

/// Adds a problem where the box has no area or does not lie in the image.
pub(crate) fn check_box(
    &[x0, y0, x1, y1]: &[f64; 4],
    camera: Option<&Camera>,
    place: impl Fn() -> Place,
    out: &mut Findings,
) {
    if x1 < x0 || y1 < y0 {
        return out.push(Finding::new(
            Code::BoxInverted,
            place(),
            "x0, y0, x1, y1 with x0 < x1 and y0 < y1",
        ));
    }
    if x1 <= x0 || y1 <= y0 {
        return out.push(Finding::new(
            Code::BoxEmpty,
            place(),
            "a box with a width and a height",
        ));
    }
    let Some(camera) = camera else { return };
    let (width, height) = (f64::from(camera.width_px), f64::from(camera.height_px));
    let fits = |low: f64, high: f64, size: f64| {
        let margin = BOX_OUTSIDE_SHARE * size;
        low >= -margin && high <= size + margin && low < size && high > 0.0
    };
    out.unless(fits(x0, x1, width) && fits(y0, y1, height), || {
        let percent = BOX_OUTSIDE_SHARE * 100.0;
        let expected = format!(
            "a box in the image of {width} by {height} pixels, or at most {percent} % of it outside"
        );
        Finding::new(Code::BoxOutside, place(), expected)
    });
}

/// The direction as a unit vector; on boxes of other things than fruit it has no meaning and is left out.
fn check_axis(
    axis: [f64; 2],
    class: Class,
    place: impl Fn() -> Place,
    out: &mut Findings,
) -> Option<[f64; 2]> {
    if class != Class::Fruitlet {
        return None;
    }
    let length = axis[0].hypot(axis[1]);
    let usable = length > 1e-9 && length.is_finite();
    out.unless(usable, || {
        Finding::new(
            Code::DirectionZero,
            place(),
            "a direction, two numbers that are not both 0",
        )
    });
    usable.then(|| axis.map(|c| c / length))
}

/// Problems of frames whose id an earlier line has.
fn repeated_ids<'f>(
    file: &'f str,
    frames: &'f [(u64, Frame)],
) -> impl Iterator<Item = Problem> + 'f {
    let mut first: HashMap<&str, u64> = HashMap::with_capacity(frames.len()); // only asked, never walked
    frames.iter().filter_map(move |(no, frame)| {
        let Some(earlier) = first.get(frame.id.as_str()) else {
            first.insert(&frame.id, *no);
            return None;
        };
        Some(Problem {
            code: Code::IdTwice,
            file: file.to_owned(),
            line: Some(*no),
            field: "frame".to_owned(),
            found: format!("{:?}", frame.id),
            expected: format!("an id that no other frame has (line {earlier} has it already)"),
            what_to_do: Code::IdTwice.entry().action.to_owned(),
        })
    })
}

/// Warnings of neighbours in time that state different rig poses at one time of one pass.
fn differing_poses(file: &str, frames: &[(u64, Frame)], limits: &Limits) -> Vec<Problem> {
    const TOLERANCE_M: f64 = 1e-6;
    const TOLERANCE_RAD: f64 = 1e-6;
    let differ = |a: &Frame, b: &Frame| match (&a.orchard_from_rig, &b.orchard_from_rig) {
        (Some(p), Some(q)) => {
            let apart = p.iso.translation.vector - q.iso.translation.vector;
            apart.norm() > TOLERANCE_M || p.iso.rotation.angle_to(&q.iso.rotation) > TOLERANCE_RAD
        }
        _ => false,
    };
    let pairs = frames.iter().zip(frames.iter().skip(1));
    let same_moment =
        pairs.filter(|((_, a), (_, b))| a.time_s.total_cmp(&b.time_s).is_eq() && a.pass == b.pass);
    let different = same_moment.filter(|((_, a), (_, b))| differ(a, b));
    let warn = |(one, other): (&(u64, Frame), &(u64, Frame))| Problem {
        code: Code::PoseDiffers,
        file: file.to_owned(),
        line: Some(other.0),
        field: "orchard_from_rig".to_owned(),
        found: format!("another pose than {} has at the same time", one.1.id),
        expected: "one rig pose for all images of one time and pass".to_owned(),
        what_to_do: Code::PoseDiffers.entry().action.to_owned(),
    };
    different.take(limits.problems).map(warn).collect()
}
