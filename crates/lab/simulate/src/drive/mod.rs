//! Where the rig truly is, and what is written about it.

mod errors;
mod mounting;
mod path;

use crate::spec::{ErrorSpec, PoseSource, SceneSpec};
use crate::streams::Streams;
use corymb_model::Pose;
use corymb_model::frames::{CameraFrame, Orchard, Rig};
use corymb_model::run::{Camera, TimedPose};
use errors::PoseErrors;
use path::Path;

/// How far a trajectory reaches beyond a pass at either end, seconds.
const TRAJECTORY_MARGIN_S: f64 = 0.5;

/// One instant at which all cameras expose.
#[derive(Debug, Clone)]
pub(crate) struct Exposure {
    /// Position in the spec's passes.
    pub(crate) pass_idx: usize,
    /// Instant by the clock of the poses: the true one.
    pub(crate) true_time_s: f64,
    /// Instant as written on the image.
    pub(crate) stamped_time_s: f64,
    /// Where the rig was.
    pub(crate) orchard_from_rig: Pose<Orchard, Rig>,
    /// The pose written on the image.
    pub(crate) stated: Option<Pose<Orchard, Rig>>,
}

/// A drive.
pub(crate) struct Drive {
    /// Cameras as the run states them.
    pub(crate) cameras: Vec<Camera>,
    /// True mounting of each.
    pub(crate) mounts: Vec<Pose<Rig, CameraFrame>>,
    /// Ascending in time.
    pub(crate) exposures: Vec<Exposure>,
    /// The trajectory as stated; empty where images have their own poses.
    pub(crate) trajectory: Vec<TimedPose>,
}

/// Drives the rig along all passes.
pub(crate) fn drive(spec: &SceneSpec, streams: &Streams) -> Drive {
    let mounts: Vec<_> = spec.cameras.iter().map(mounting::true_mount).collect();
    let stated = |(k, c)| mounting::stated_camera(c, &spec.errors, streams, k);
    let cameras = spec.cameras.iter().enumerate().map(stated).collect();
    let paths: Vec<Path> = (0..)
        .zip(&spec.passes)
        .map(|(k, p)| Path::new(p, streams, k))
        .collect();
    let mut exposures = exposures(spec, &paths);
    let stamps: Vec<(usize, f64)> = match spec.errors.poses {
        PoseSource::Images => exposures
            .iter()
            .map(|e| (e.pass_idx, e.stamped_time_s))
            .collect(),
        PoseSource::Trajectory => trajectory_times(spec),
    };
    let stated = stated_poses(&spec.errors, &paths, &stamps, streams);
    let mut trajectory = Vec::new();
    match spec.errors.poses {
        PoseSource::Images => {
            for (exposure, pose) in exposures.iter_mut().zip(stated) {
                exposure.stated = Some(pose);
            }
        }
        PoseSource::Trajectory => {
            let timed = stamps.iter().zip(stated);
            trajectory.extend(timed.map(|((_, t), pose)| TimedPose {
                time_s: *t,
                orchard_from_rig: pose,
            }));
        }
    }
    Drive {
        cameras,
        mounts,
        exposures,
        trajectory,
    }
}

fn exposures(spec: &SceneSpec, paths: &[Path]) -> Vec<Exposure> {
    let of_pass = |(pass_idx, path): (usize, &Path)| {
        let pass = &spec.passes[pass_idx];
        let path = path.clone();
        (0..pass.exposures).map(move |k| {
            let true_time_s = micro(pass.start_s + f64::from(k) / pass.rate_hz);
            Exposure {
                pass_idx,
                true_time_s,
                stamped_time_s: micro(true_time_s - spec.errors.clock_offset_s),
                orchard_from_rig: path.at(true_time_s),
                stated: None,
            }
        })
    };
    paths.iter().enumerate().flat_map(of_pass).collect()
}

/// Times are written in whole microseconds.
fn micro(time_s: f64) -> f64 {
    (time_s * 1e6).round() / 1e6
}

fn trajectory_times(spec: &SceneSpec) -> Vec<(usize, f64)> {
    let of_pass = |(k, pass): (usize, &crate::spec::PassSpec)| {
        let from_s = pass.start_s - TRAJECTORY_MARGIN_S;
        let span_s = f64::from(pass.exposures - 1) / pass.rate_hz + 2.0 * TRAJECTORY_MARGIN_S;
        let rate_hz = spec.errors.trajectory_hz;
        let count = (span_s * rate_hz).ceil() as u64;
        (0..=count).map(move |n| (k, micro(from_s + n as f64 / rate_hz)))
    };
    spec.passes.iter().enumerate().flat_map(of_pass).collect()
}

/// What the positioning reports at each time.
fn stated_poses(
    spec: &ErrorSpec,
    paths: &[Path],
    stamps: &[(usize, f64)],
    streams: &Streams,
) -> Vec<Pose<Orchard, Rig>> {
    let mut errors = PoseErrors::new(spec, streams);
    let report = |(pass_idx, time_s): &(usize, f64)| {
        let true_pose = paths[*pass_idx].at(*time_s);
        errors.report(*pass_idx, *time_s, &true_pose, &paths[*pass_idx].middle_m())
    };
    stamps.iter().map(report).collect()
}
