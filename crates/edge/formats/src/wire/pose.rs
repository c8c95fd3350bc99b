//! Poses as written.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place};
use crate::wire::num::Num;
use crate::wire::strict::strict;
use corymb_model::Pose;
use nalgebra::{Isometry3, Quaternion, Translation3, UnitQuaternion};

/// How far a quaternion's or a unit vector's length may differ from 1: rounding to three decimals stays below it.
pub(crate) const NORM_TOLERANCE: f64 = 1e-3;

strict! {
    /// Takes a point of the source frame to the target frame: rotated first, then moved.
    #[schemars(rename = "Pose")]
    PoseWire {
        /// Metres.
        translation_m [needed]: [Num; 3],
        /// x, y, z, w; of unit length.
        quaternion_xyzw [needed]: [Num; 4],
    }
}

impl PoseWire {
    /// As it is written; the quaternion with w of 0 or more.
    pub(crate) fn of<T, S>(pose: &Pose<T, S>) -> Self {
        let t = &pose.iso.translation.vector;
        let q = pose.iso.rotation.coords; // x, y, z, w
        let sign = if q.w < 0.0 { -1.0 } else { 1.0 };
        Self {
            translation_m: crate::wire::num::metres3(t),
            quaternion_xyzw: [q.x, q.y, q.z, q.w].map(|c| Num::unit(sign * c)),
        }
    }

    /// The pose, its quaternion normalised. A quaternion too far from unit length is added to `out`.
    pub(crate) fn check<T, S>(
        &self,
        place: impl FnOnce() -> Place,
        out: &mut Findings,
    ) -> Pose<T, S> {
        let [x, y, z, w] = self.quaternion_xyzw.map(|n| n.0);
        let quaternion = Quaternion::new(w, x, y, z);
        let norm = quaternion.norm();
        if (norm - 1.0).abs() > NORM_TOLERANCE || !norm.is_finite() {
            let mut place = place();
            place.0.push("quaternion_xyzw".into());
            let expected = format!("a length of 1 within {NORM_TOLERANCE} (it is {norm:.6})");
            out.push(Finding::new(Code::QuaternionNorm, place, expected));
            return Pose::identity();
        }
        let [tx, ty, tz] = self.translation_m.map(|n| n.0);
        let rotation = UnitQuaternion::from_quaternion(quaternion);
        Pose::from_isometry(Isometry3::from_parts(
            Translation3::new(tx, ty, tz),
            rotation,
        ))
    }
}
