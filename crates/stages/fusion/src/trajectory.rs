//! A trajectory of noisy poses made smooth: a rig has mass, its pose's error has not.
//!
//! Local quadratic regression (Fan and Gijbels, Local Polynomial Modelling, 1996) of the translation and of the
//! rotation vector about the middle pose. The width is chosen by leave-one-out cross-validation, which also tells
//! how far single poses scatter about the smooth motion.

use corymb_geometry::poses::interpolate;
use corymb_model::frames::{Orchard, Pose, Rig};
use corymb_model::run::TimedPose;
use nalgebra::{Isometry3, Matrix3, UnitQuaternion, Vector3};

/// Half widths tried, in samples. The narrowest is the interpolation of neighbours.
const HALF_WIDTHS: [usize; 3] = [2, 4, 8];
/// Fewest poses that can be made smooth.
const FEWEST: usize = 20;
/// Longest stretch of time that one fit spans to each side, seconds: beyond it a rig is not a parabola.
const LONGEST_S: f64 = 0.6;

/// A trajectory with its smoothing.
#[derive(Debug)]
pub(crate) struct Trajectory<'a> {
    poses: &'a [TimedPose],
    half_width: Option<usize>,
    /// Scatter of single poses about the smooth motion: metres, radians per axis.
    pub(crate) scatter: Option<(f64, f64)>,
}

impl<'a> Trajectory<'a> {
    pub(crate) fn new(poses: &'a [TimedPose]) -> Self {
        let mut best: Option<(f64, usize, (f64, f64))> = None;
        if poses.len() >= FEWEST {
            for h in HALF_WIDTHS {
                if let Some(s) = left_out_scatter(poses, h)
                    && best.as_ref().is_none_or(|b| s.0 < b.0)
                {
                    best = Some((s.0, h, s));
                }
            }
        }
        Self {
            poses,
            half_width: best.as_ref().map(|b| b.1),
            scatter: best.map(|b| b.2),
        }
    }

    /// The rig's pose at a time; `None` further outside than `max_extrapolation_s`.
    pub(crate) fn at(&self, time_s: f64, max_extrapolation_s: f64) -> Option<Pose<Orchard, Rig>> {
        let plain = interpolate(self.poses, time_s, max_extrapolation_s).ok()?;
        let Some(h) = self.half_width else {
            return Some(plain);
        };
        let next = self.poses.partition_point(|p| p.time_s < time_s);
        let from = next.saturating_sub(h);
        let to = (next + h).min(self.poses.len());
        Some(
            regress(&self.poses[from..to], time_s, &plain.iso, None)
                .map_or(plain, Pose::from_isometry),
        )
    }
}

/// Root mean square error per axis of each pose predicted from its neighbours: metres, radians.
fn left_out_scatter(poses: &[TimedPose], half: usize) -> Option<(f64, f64)> {
    let (mut t2, mut r2, mut n) = (0.0, 0.0, 0.0);
    for k in half..poses.len() - half {
        let window = &poses[k - half..=k + half];
        let middle = poses[k].orchard_from_rig.iso;
        let Some(fit) = regress(window, poses[k].time_s, &middle, Some(half)) else {
            continue;
        };
        let d = middle.inverse() * fit;
        t2 += d.translation.vector.norm_squared();
        r2 += d.rotation.scaled_axis().norm_squared();
        n += 3.0;
    }
    (n > 0.0).then(|| ((t2 / n).sqrt(), (r2 / n).sqrt()))
}

/// Value at `time_s` of parabolas through the window's poses, taken relative to `about`, but for one left out.
fn regress(
    window: &[TimedPose],
    time_s: f64,
    about: &Isometry3<f64>,
    skip: Option<usize>,
) -> Option<Isometry3<f64>> {
    let span = window
        .iter()
        .map(|p| (p.time_s - time_s).abs())
        .fold(0.0, f64::max)
        .min(LONGEST_S)
        * 1.05;
    let mut a = Matrix3::zeros();
    let mut b = nalgebra::Matrix3x6::zeros();
    let mut used = 0;
    for (k, p) in window.iter().enumerate() {
        let u = (p.time_s - time_s) / span;
        if skip == Some(k) || u.abs() >= 1.0 {
            continue;
        }
        let w = (1.0 - u.abs().powi(3)).powi(3);
        let d = about.inverse() * p.orchard_from_rig.iso;
        let (t, r) = (d.translation.vector, d.rotation.scaled_axis());
        let row = Vector3::new(1.0, u, u * u);
        a += row * row.transpose() * w;
        b += row * nalgebra::RowVector6::new(t.x, t.y, t.z, r.x, r.y, r.z) * w;
        used += 1;
    }
    if used < 4 {
        return None;
    }
    let x = a.cholesky()?.solve(&b);
    let v = x.row(0);
    let small = Isometry3::from_parts(
        Vector3::new(v[0], v[1], v[2]).into(),
        UnitQuaternion::from_scaled_axis(Vector3::new(v[3], v[4], v[5])),
    );
    Some(about * small)
}

#[cfg(test)]
mod tests {
    use super::Trajectory;
    use corymb_model::frames::Pose;
    use corymb_model::run::TimedPose;
    use nalgebra::{Isometry3, UnitQuaternion, Vector3};

    /// A parabola in place and in turn, with a deterministic scatter.
    fn track(scatter_m: f64) -> Vec<TimedPose> {
        (0..60)
            .map(|k| {
                let t = f64::from(k) * 0.05;
                let s = scatter_m * if k % 2 == 0 { 1.0 } else { -1.0 };
                let at = Vector3::new(0.3 * t + s, 0.02 * t * t, 1.5);
                let turn = UnitQuaternion::from_scaled_axis(Vector3::new(0.0, 0.0, 0.01 * t * t));
                TimedPose {
                    time_s: t,
                    orchard_from_rig: Pose::from_isometry(Isometry3::from_parts(at.into(), turn)),
                }
            })
            .collect()
    }

    #[test]
    fn a_smooth_motion_is_kept() {
        let poses = track(0.0);
        let t = Trajectory::new(&poses);
        let p = t.at(1.234, 0.05).unwrap().iso;
        assert!(
            (p.translation.vector - Vector3::new(0.3 * 1.234, 0.02 * 1.234 * 1.234, 1.5)).norm()
                < 1e-6
        );
        assert!((p.rotation.scaled_axis().z - 0.01 * 1.234 * 1.234).abs() < 1e-6);
        assert!(t.scatter.unwrap().0 < 1e-5);
    }

    #[test]
    fn scatter_is_averaged_and_told() {
        let poses = track(0.01);
        let t = Trajectory::new(&poses);
        let p = t.at(1.52, 0.05).unwrap().iso;
        assert!((p.translation.vector.x - 0.3 * 1.52).abs() < 0.004);
        let told = t.scatter.unwrap().0;
        assert!((0.004..0.02).contains(&told), "{told}");
    }

    #[test]
    fn nothing_beyond_the_bound_and_nothing_from_nothing() {
        assert!(Trajectory::new(&track(0.0)).at(3.2, 0.05).is_none());
        assert!(Trajectory::new(&[]).at(0.0, 0.05).is_none());
    }
}
