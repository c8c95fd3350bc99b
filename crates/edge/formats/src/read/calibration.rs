//! `calibration.json` back into the calibration.

use crate::findings::{Findings, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::document::{Grammar, Loaded, read_document};
use crate::read::known::Known;
use crate::source::locate_needed;
use crate::wire::calibration::{CalibrationFile, EstimateWire, MountWire, RigPoseWire};
use crate::wire::num::Num;
use crate::write::Header;
use corymb_model::run::Run;
use corymb_model::scene::{Calibration, CorrectedPose, Estimate, MountEstimate};
use std::path::Path;

/// Reads `calibration.json` of an output folder, with what it says about itself.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_calibration(dir: &Path, run: &Run) -> Result<Loaded<(Header, Calibration)>, Problems> {
    let located = locate_needed(dir, "calibration.json")?;
    let known = Known::of_run(run);
    read_document(
        &located,
        Grammar::Json,
        &Limits::default(),
        |file: CalibrationFile, out| {
            let header = Header {
                tool_version: file.tool_version.clone(),
                inputs: file.inputs.clone(),
            };
            (header, check_calibration(&file, &known, out))
        },
    )
}

fn check_calibration(file: &CalibrationFile, known: &Known<'_>, out: &mut Findings) -> Calibration {
    let cameras = file.cameras.iter().enumerate();
    Calibration {
        rig_poses: file
            .rig_poses
            .iter()
            .enumerate()
            .map(|(at, p)| check_rig_pose(p, at, out))
            .collect(),
        mounts: cameras
            .filter_map(|(at, m)| check_mount(m, at, known, out))
            .collect(),
        clock_offset_s: estimate(&file.clock_offset_s, 1.0),
        box_edge_px: estimate(&file.noise.box_edge_px, 1.0),
        pose_translation_m: estimate(&file.noise.pose_translation_m, 1.0),
        pose_rotation_rad: estimate(&file.noise.pose_rotation_deg, 1f64.to_radians()),
        detection_probability: estimate(&file.noise.detection_probability, 1.0),
        false_positives_per_frame: estimate(&file.noise.false_positives_per_frame, 1.0),
    }
}

fn estimate(wire: &EstimateWire, unit: f64) -> Estimate {
    Estimate {
        value: wire.value.map(|n| n.0 * unit),
        deviation: wire.deviation.map(|n| n.0 * unit),
        reason: wire.not_estimated_because.clone(),
    }
}

fn radians(degrees: Num) -> f64 {
    degrees.0.to_radians()
}

fn check_rig_pose(wire: &RigPoseWire, at: usize, out: &mut Findings) -> CorrectedPose {
    CorrectedPose {
        time_s: wire.time_s.0,
        pass: wire.pass.clone(),
        orchard_from_rig: wire
            .orchard_from_rig
            .check(|| place!["rig_poses", at, "orchard_from_rig"], out),
        translation_deviation_m: wire.translation_deviation_m.map(|n| n.0),
        rotation_deviation_rad: wire.rotation_deviation_deg.map(radians),
    }
}

fn check_mount(
    wire: &MountWire,
    at: usize,
    known: &Known<'_>,
    out: &mut Findings,
) -> Option<MountEstimate> {
    Some(MountEstimate {
        camera_idx: known.camera(&wire.camera, || place!["cameras", at, "camera"], out)?,
        rig_from_camera: wire
            .rig_from_camera
            .check(|| place!["cameras", at, "rig_from_camera"], out),
        translation_deviation_m: wire.translation_deviation_m.map(|n| n.0),
        rotation_deviation_rad: wire.rotation_deviation_deg.map(radians),
        reason: wire.not_estimated_because.clone(),
    })
}
