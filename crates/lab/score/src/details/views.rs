//! Where the cameras stood, as the output says or else as the run does.

use corymb_geometry::interpolate;
use corymb_model::frames::{CameraFrame, Orchard, Pose, Rig};
use corymb_model::run::{Frame, Run};
use corymb_model::scene::{Calibration, CorrectedPose};

/// How far a trajectory is followed beyond its ends, seconds: what the contract of the run folder allows.
const BEYOND_ENDS_S: f64 = 0.05;
/// Times in files are rounded; a corrected pose within this of an image's time is that image's, seconds.
const SAME_TIME_S: f64 = 1e-5;

/// The camera's pose for each image, `None` where the image has none. With a calibration only its poses count: an
/// image that it left out has none. O(images log poses).
pub(crate) fn cameras(
    run: &Run,
    calibration: Option<&Calibration>,
) -> Vec<Option<Pose<Orchard, CameraFrame>>> {
    let corrected = calibration.map(Corrected::of);
    run.frames
        .iter()
        .map(|frame| match &corrected {
            Some(corrected) => corrected.camera(run, frame),
            None => {
                let stated = run.cameras.get(frame.camera_idx)?.rig_from_camera;
                Some(stated_rig(run, frame)?.after(&stated))
            }
        })
        .collect()
}

fn stated_rig(run: &Run, frame: &Frame) -> Option<Pose<Orchard, Rig>> {
    frame
        .orchard_from_rig
        .or_else(|| interpolate(&run.poses, frame.time_s, BEYOND_ENDS_S).ok())
}

/// The poses of a calibration, ascending in time.
struct Corrected<'a> {
    calibration: &'a Calibration,
    poses: Vec<&'a CorrectedPose>,
}

impl<'a> Corrected<'a> {
    fn of(calibration: &'a Calibration) -> Self {
        let mut poses: Vec<&CorrectedPose> = calibration.rig_poses.iter().collect();
        poses.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        Self { calibration, poses }
    }

    fn camera(&self, run: &Run, frame: &Frame) -> Option<Pose<Orchard, CameraFrame>> {
        let from = (self.poses).partition_point(|p| p.time_s < frame.time_s - SAME_TIME_S);
        let rig = (self.poses.get(from..)?.iter())
            .take_while(|p| p.time_s <= frame.time_s + SAME_TIME_S)
            .find(|p| p.pass == frame.pass)?;
        let mounts = &self.calibration.mounts;
        let mount = mounts.iter().find(|m| m.camera_idx == frame.camera_idx);
        let rig_from_camera = match mount {
            Some(mount) => mount.rig_from_camera,
            None => run.cameras.get(frame.camera_idx)?.rig_from_camera,
        };
        Some(rig.orchard_from_rig.after(&rig_from_camera))
    }
}
