//! `calibration.json`.

use crate::wire::calibration::{
    CalibrationFile, EstimateWire, MountWire, NoiseEstimates, RigPoseWire,
};
use crate::wire::header::FrameWire;
use crate::wire::num::Num;
use crate::wire::pose::PoseWire;
use crate::write::error::WriteError;
use crate::write::publish::{Header, Publication};
use corymb_model::run::Run;
use corymb_model::scene::{Calibration, CorrectedPose, Estimate, MountEstimate};

const FILE: &str = "calibration.json";

impl Publication {
    /// Adds `calibration.json`.
    ///
    /// # Errors
    /// A camera that is not there, a number that is not finite, or the disk.
    pub fn calibration(
        &mut self,
        header: &Header,
        run: &Run,
        calibration: &Calibration,
    ) -> Result<(), WriteError> {
        let file = CalibrationFile {
            version: crate::read::document::VERSION,
            tool_version: header.tool_version.clone(),
            frame: FrameWire::Orchard,
            inputs: header.inputs.clone(),
            rig_poses: calibration.rig_poses.iter().map(rig_pose).collect(),
            cameras: calibration
                .mounts
                .iter()
                .map(|m| mount(m, run))
                .collect::<Result<_, _>>()?,
            clock_offset_s: estimate(&calibration.clock_offset_s, 1.0),
            noise: NoiseEstimates {
                box_edge_px: estimate(&calibration.box_edge_px, 1.0),
                pose_translation_m: estimate(&calibration.pose_translation_m, 1.0),
                pose_rotation_deg: estimate(&calibration.pose_rotation_rad, 1f64.to_degrees()),
                detection_probability: estimate(&calibration.detection_probability, 1.0),
                false_positives_per_frame: estimate(&calibration.false_positives_per_frame, 1.0),
            },
        };
        self.json(FILE, &file)
    }
}

/// The estimate times `unit`, the size of the model's unit in the file's.
fn estimate(e: &Estimate, unit: f64) -> EstimateWire {
    EstimateWire {
        value: e.value.map(|v| Num::significant(v * unit)),
        deviation: e.deviation.map(|v| Num::significant(v * unit)),
        not_estimated_because: e.reason.clone(),
    }
}

fn degrees(radians: f64) -> Num {
    Num::significant(radians.to_degrees())
}

fn rig_pose(p: &CorrectedPose) -> RigPoseWire {
    RigPoseWire {
        time_s: Num::seconds(p.time_s),
        pass: p.pass.clone(),
        orchard_from_rig: PoseWire::of(&p.orchard_from_rig),
        translation_deviation_m: p.translation_deviation_m.map(Num::significant),
        rotation_deviation_deg: p.rotation_deviation_rad.map(degrees),
    }
}

fn mount(m: &MountEstimate, run: &Run) -> Result<MountWire, WriteError> {
    let count = run.cameras.len();
    let missing = WriteError::Position {
        file: FILE,
        kind: "camera",
        position: m.camera_idx,
        count,
    };
    Ok(MountWire {
        camera: run.cameras.get(m.camera_idx).ok_or(missing)?.id.clone(),
        rig_from_camera: PoseWire::of(&m.rig_from_camera),
        translation_deviation_m: m.translation_deviation_m.map(Num::significant),
        rotation_deviation_deg: m.rotation_deviation_rad.map(degrees),
        not_estimated_because: m.reason.clone(),
    })
}
