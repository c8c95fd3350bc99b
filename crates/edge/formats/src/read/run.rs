//! The run folder.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::problem::{Problem, Problems};
use crate::read::checks::{Ids, filled, not_negative, positive, share};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::read::frames::{FramesContext, read_frames};
use crate::read::orchard::read_orchard;
use crate::read::poses::read_poses;
use crate::source::{locate, locate_needed, require_folder};
use crate::wire::run::{CameraWire, DistortionModel, DistortionWire, NoiseWire, RunFile};
use corymb_model::run::{Camera, Class, Distortion, Run, StatedNoise};
use std::collections::BTreeMap;
use std::path::Path;

/// A run folder as read and checked.
#[derive(Debug, Clone)]
pub struct RunFolder {
    /// The run.
    pub run: Run,
    /// File name as found on disk -> SHA-256 of its bytes on disk, hexadecimal.
    pub inputs: BTreeMap<String, String>,
    /// What is odd and does not stop anything.
    pub warnings: Vec<Problem>,
}

/// `run.json` as checked.
#[derive(Debug)]
pub(crate) struct RunHead {
    pub(crate) name: String,
    pub(crate) date: String,
    pub(crate) stage_bbch: Option<u8>,
    pub(crate) cameras: Vec<Camera>,
    pub(crate) labels: Vec<(String, Class)>,
    pub(crate) noise: StatedNoise,
}

/// Reads the run folder `dir` with the usual limits.
///
/// # Errors
/// All problems of all its files, up to a limit for each.
pub fn read_run(dir: &Path) -> Result<RunFolder, Problems> {
    read_run_with(dir, &Limits::default())
}

/// Reads the run folder `dir`. Lines of `.jsonl` files are parsed in parallel on the current rayon pool; what comes
/// out does not depend on the number of threads.
///
/// # Errors
/// All problems of all its files, up to a limit for each.
pub fn read_run_with(dir: &Path, limits: &Limits) -> Result<RunFolder, Problems> {
    require_folder(dir)?;
    let mut inputs = BTreeMap::new();
    let mut problems = Problems::default();
    let located = locate_needed(dir, "run.json");
    let head = keep(
        located
            .map_err(Problems::from)
            .and_then(|l| read_document(&l, Grammar::Json, limits, check_run)),
        &mut inputs,
        &mut problems,
    );
    let orchard = optional(
        dir,
        "orchard.json",
        |l| read_orchard(&l, limits),
        &mut inputs,
        &mut problems,
    );
    let poses_there = locate(dir, "poses.jsonl").is_ok_and(|found| found.is_some());
    let poses = optional(
        dir,
        "poses.jsonl",
        |l| read_poses(&l, limits),
        &mut inputs,
        &mut problems,
    );
    let context = FramesContext::new(head.as_ref(), poses_there, limits);
    let frames = keep(
        locate_needed(dir, "frames.jsonl")
            .map_err(Problems::from)
            .and_then(|l| read_frames(&l, &context)),
        &mut inputs,
        &mut problems,
    );
    let (Some(head), Some(frames), true) = (head, frames, problems.is_empty()) else {
        return Err(problems);
    };
    let run = Run {
        name: head.name,
        date: head.date,
        stage_bbch: head.stage_bbch,
        cameras: head.cameras,
        noise: head.noise,
        frames: frames.frames,
        poses: poses.unwrap_or_default(),
        orchard,
    };
    Ok(RunFolder {
        run,
        inputs,
        warnings: frames.warnings,
    })
}

/// Takes the value out of `loaded`, and its hash or its problems to their lists.
fn keep<T>(
    loaded: Result<Loaded<T>, Problems>,
    inputs: &mut BTreeMap<String, String>,
    problems: &mut Problems,
) -> Option<T> {
    match loaded {
        Ok(loaded) => {
            inputs.insert(loaded.file_name, loaded.sha256);
            Some(loaded.value)
        }
        Err(more) => {
            problems.join(more);
            None
        }
    }
}

fn optional<T>(
    dir: &Path,
    stem: &str,
    read: impl FnOnce(crate::source::Located) -> Result<Loaded<T>, Problems>,
    inputs: &mut BTreeMap<String, String>,
    problems: &mut Problems,
) -> Option<T> {
    match locate(dir, stem) {
        Ok(None) => None,
        Ok(Some(located)) => keep(read(located), inputs, problems),
        Err(problem) => keep(Err(problem.into()), inputs, problems),
    }
}

fn check_run(file: RunFile, out: &mut Findings) -> RunHead {
    filled(&file.name, || place!["name"], out);
    out.unless(crate::date::is_iso_8601(&file.date), || {
        Finding::new(
            Code::DateMalformed,
            place!["date"],
            "a date like 2026-06-03 or 2026-06-03T09:00:00Z",
        )
    });
    const LAST_BBCH: u8 = 99;
    out.unless(file.stage_bbch.is_none_or(|s| s <= LAST_BBCH), || {
        Finding::new(
            Code::NumberOutOfRange,
            place!["stage_bbch"],
            "a BBCH code from 0 to 99",
        )
    });
    out.unless(!file.cameras.is_empty(), || {
        Finding::new(Code::ListEmpty, place!["cameras"], "at least one camera")
    });
    let mut ids = Ids::of("camera");
    let cameras = file.cameras.into_iter().enumerate();
    let cameras = cameras
        .map(|(at, camera)| check_camera(camera, &place!["cameras", at], &mut ids, out))
        .collect();
    RunHead {
        name: file.name,
        date: file.date,
        stage_bbch: file.stage_bbch,
        cameras,
        labels: file
            .classes
            .into_iter()
            .map(|(label, class)| (label, class.into()))
            .collect(),
        noise: check_noise(file.noise.unwrap_or_default(), out),
    }
}

fn check_camera(camera: CameraWire, at: &Place, ids: &mut Ids, out: &mut Findings) -> Camera {
    ids.add(&camera.id, || place![in at; "id"], out);
    for (name, size) in [
        ("width_px", camera.width_px),
        ("height_px", camera.height_px),
    ] {
        out.unless(size > 0, || {
            Finding::new(Code::SizeZero, place![in at; name], "at least one pixel")
        });
    }
    for (axis, focal) in camera.focal_px.iter().enumerate() {
        out.unless(focal.0 > 0.0, || {
            Finding::new(
                Code::FocalNotPositive,
                place![in at; "focal_px", axis],
                "a number greater than 0",
            )
        });
    }
    Camera {
        distortion: check_distortion(&camera.distortion, at, out),
        rig_from_camera: camera
            .rig_from_camera
            .check(|| place![in at; "rig_from_camera"], out),
        id: camera.id,
        width_px: camera.width_px,
        height_px: camera.height_px,
        focal_px: camera.focal_px.map(|n| n.0),
        principal_px: camera.principal_px.map(|n| n.0),
    }
}

fn check_distortion(distortion: &DistortionWire, at: &Place, out: &mut Findings) -> Distortion {
    let given: Vec<f64> = distortion.coefficients.iter().map(|n| n.0).collect();
    let (needed, made) = match distortion.model {
        DistortionModel::None => (0, given.is_empty().then_some(Distortion::None)),
        DistortionModel::PlumbBob => (
            5,
            given.as_slice().try_into().ok().map(Distortion::PlumbBob),
        ),
        DistortionModel::RationalPolynomial => (
            8,
            given
                .as_slice()
                .try_into()
                .ok()
                .map(Distortion::RationalPolynomial),
        ),
        DistortionModel::Equidistant => (
            4,
            given
                .as_slice()
                .try_into()
                .ok()
                .map(Distortion::Equidistant),
        ),
    };
    made.unwrap_or_else(|| {
        let place = place![in at; "distortion", "coefficients"];
        let finding = Finding::new(Code::DistortionCount, place, format!("{needed} numbers"));
        out.push(finding.found(format!("{} numbers", given.len())));
        Distortion::None
    })
}

fn check_noise(noise: NoiseWire, out: &mut Findings) -> StatedNoise {
    let mut size = |n: Option<crate::wire::num::Num>, name: &str| {
        n.map(|n| not_negative(n, || place!["noise", name], out))
    };
    let mut stated = StatedNoise {
        box_edge_px: size(noise.box_edge_px, "box_edge_px"),
        pose_translation_m: size(noise.pose_translation_m, "pose_translation_m"),
        pose_rotation_rad: size(noise.pose_rotation_deg, "pose_rotation_deg").map(f64::to_radians),
        pose_drift_m: size(noise.pose_drift_m, "pose_drift_m"),
        pose_drift_rad: size(noise.pose_drift_deg, "pose_drift_deg").map(f64::to_radians),
        pose_drift_s: None,
        limb_m: size(noise.limb_m, "limb_m"),
        false_positives_per_frame: size(
            noise.false_positives_per_frame,
            "false_positives_per_frame",
        ),
        detection_probability: BTreeMap::new(),
    };
    stated.pose_drift_s = noise
        .pose_drift_s
        .map(|n| positive(n, || place!["noise", "pose_drift_s"], out));
    let mut chances = noise.detection_probability.unwrap_or_default();
    for class in Class::ALL {
        let at = || place!["noise", "detection_probability", class.name()];
        if let Some(chance) = *chances.of(class) {
            stated
                .detection_probability
                .insert(class, share(chance, at, out));
        }
    }
    stated
}
