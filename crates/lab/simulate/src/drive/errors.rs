//! Errors of reported poses: new in each, slowly drifting, and common to a pass.

use crate::spec::ErrorSpec;
use crate::streams::{Draw, Purpose, Streams};
use corymb_model::Pose;
use corymb_model::frames::{Orchard, Rig};
use nalgebra::{Isometry3, Translation3, UnitQuaternion, Vector3};
use rand_chacha::ChaCha8Rng;

/// The state of the errors along a drive.
pub(super) struct PoseErrors<'a> {
    spec: &'a ErrorSpec,
    streams: &'a Streams,
    white: ChaCha8Rng,
    drift: ChaCha8Rng,
    /// Standard-normal drift state: translation, rotation.
    state: [Vector3<f64>; 2],
    last_s: Option<f64>,
}

impl<'a> PoseErrors<'a> {
    pub(super) fn new(spec: &'a ErrorSpec, streams: &'a Streams) -> Self {
        Self {
            spec,
            streams,
            white: streams.rng(Purpose::PoseNoise, 0, 0),
            drift: streams.rng(Purpose::PoseDrift, 0, 0),
            state: [Vector3::zeros(); 2],
            last_s: None,
        }
    }

    /// The pose as reported; times must not go back from call to call.
    pub(super) fn report(
        &mut self,
        pass_idx: usize,
        time_s: f64,
        true_pose: &Pose<Orchard, Rig>,
        pass_middle_m: &Vector3<f64>,
    ) -> Pose<Orchard, Rig> {
        self.step_drift(time_s);
        let shift =
            self.white.normal3(self.spec.pose_white_m) + self.state[0] * self.spec.pose_drift_m;
        let turn =
            self.white.normal3(self.spec.pose_white_deg) + self.state[1] * self.spec.pose_drift_deg;
        let error_in_rig = small(shift, turn);
        let pass = self.pass_offset(pass_idx, pass_middle_m);
        Pose::from_isometry(pass * true_pose.iso * error_in_rig)
    }

    /// Exact step of an Ornstein-Uhlenbeck process over any interval (Gillespie 1996, Phys. Rev. E 54:2084, eq. 3.1).
    fn step_drift(&mut self, time_s: f64) {
        let kept = self.last_s.map_or(0.0, |last| {
            (-(time_s - last) / self.spec.pose_drift_s).exp()
        });
        let fresh = (1.0 - kept * kept).max(0.0).sqrt();
        for part in &mut self.state {
            *part = *part * kept + self.drift.normal3(fresh);
        }
        self.last_s = Some(time_s);
    }

    fn pass_offset(&self, pass_idx: usize, middle_m: &Vector3<f64>) -> Isometry3<f64> {
        if pass_idx == 0 {
            return Isometry3::identity();
        }
        let mut rng = self.streams.rng(Purpose::PassOffset, pass_idx as u64, 0);
        let shift = rng.normal3(self.spec.pass_offset_m);
        let about = Translation3::from(*middle_m);
        about * small(shift, rng.normal3(self.spec.pass_offset_deg)) * about.inverse()
    }
}

/// A small motion: metres and degrees.
pub(super) fn small(shift_m: Vector3<f64>, turn_deg: Vector3<f64>) -> Isometry3<f64> {
    let turn = UnitQuaternion::from_scaled_axis(turn_deg.map(f64::to_radians));
    Isometry3::from_parts(Translation3::from(shift_m), turn)
}
