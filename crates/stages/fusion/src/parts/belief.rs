//! The direction in which a body hangs as a distribution on the sphere: the best direction and how far off it may be.

use super::direction::{AxisEvidence, AxisNoise};
use super::fit::{Fitted, Guess, Problem};
use corymb_model::frames::Direction;
use corymb_model::scene::Axis;
use nalgebra::Vector3;

/// Beyond this deviation the local quadratic does not describe the distribution, radians.
const WIDE: f64 = 0.4;
/// Least deviation: bodies are not spheres and poles not points, radians.
const FLOOR: f64 = 0.05;

/// Losses of one body's evidence over the sphere's points.
pub(super) struct Sphere<'a> {
    pub(super) points: &'a [Vector3<f64>],
    /// Of the image axes alone.
    image_axes: Vec<f64>,
    /// Of all evidence.
    pub(super) losses: Vec<f64>,
}

impl<'a> Sphere<'a> {
    /// Evaluates the evidence at every point.
    pub(super) fn new(
        points: &'a [Vector3<f64>],
        evidence: &AxisEvidence,
        image_axis_rad: f64,
    ) -> Sphere<'a> {
        let noise = AxisNoise {
            image_axis_rad,
            slack_rad: 0.0,
        };
        let image_axes = points
            .iter()
            .map(|a| evidence.image_axis_loss(a, noise))
            .collect();
        let mut sphere = Sphere {
            points,
            image_axes,
            losses: Vec::new(),
        };
        sphere.set_poles(evidence);
        sphere
    }

    /// Takes other calyx boxes; the image axes stay as they are.
    pub(super) fn set_poles(&mut self, evidence: &AxisEvidence) {
        self.losses.clone_from(&self.image_axes);
        if evidence.poles() > 0 {
            // without a slack the deviation of image axes does not count for poles
            let noise = AxisNoise {
                image_axis_rad: 1.0,
                slack_rad: 0.0,
            };
            for (loss, a) in self.losses.iter_mut().zip(self.points) {
                *loss += evidence.pole_loss(a, noise);
            }
        }
    }

    /// The point of least loss, and the loss.
    pub(super) fn best(&self) -> Option<(Vector3<f64>, f64)> {
        let pairs = self.points.iter().zip(&self.losses);
        pairs
            .min_by(|a, b| a.1.total_cmp(b.1))
            .map(|(p, l)| (*p, *l))
    }
}

/// Best direction and deviation: near a narrow optimum the local quadratic with what probability lies far from it;
/// otherwise mean and spread over the whole sphere.
pub(super) fn summarise(sphere: &Sphere<'_>, problem: &Problem<'_>, fit: &Fitted) -> Option<Axis> {
    let far = fit.guess.far;
    let tie = |axis: &Vector3<f64>| problem.tie_loss(&Guess { axis: *axis, far });
    let noise = AxisNoise {
        image_axis_rad: problem.habit.image_axis_rad,
        slack_rad: 0.0,
    };
    let least = problem.evidence.loss(&fit.guess.axis, noise) + tie(&fit.guess.axis);
    let weights: Vec<f64> = sphere
        .points
        .iter()
        .zip(&sphere.losses)
        .map(|(p, l)| (least - l - tie(p)).min(0.0).exp())
        .collect();
    let local = 0.5 * fit.axis_covariance.trace();
    let (direction, variance) = if local.sqrt() < WIDE {
        (
            fit.guess.axis,
            with_far_mass(
                sphere,
                &weights,
                &fit.guess.axis,
                fit.axis_covariance.determinant(),
                local,
            ),
        )
    } else {
        spread(sphere, &weights)?
    };
    Some(Axis {
        direction: Direction::of(direction)?,
        deviation_rad: (variance + FLOOR * FLOOR).sqrt(),
    })
}

/// Variance per axis with the mass that lies beyond three local deviations.
fn with_far_mass(
    sphere: &Sphere<'_>,
    weights: &[f64],
    axis: &Vector3<f64>,
    determinant: f64,
    local: f64,
) -> f64 {
    // a few hundred
    let cell = 4.0 * std::f64::consts::PI / sphere.points.len() as f64;
    let main = 2.0 * std::f64::consts::PI * determinant.max(0.0).sqrt();
    let near = (3.0 * local.sqrt()).max(0.4);
    let (mut mass, mut moment) = (main, main * local);
    for (p, w) in sphere.points.iter().zip(weights) {
        let angle = p.dot(axis).clamp(-1.0, 1.0).acos();
        if angle > near {
            mass += w * cell;
            moment += w * cell * 0.5 * angle * angle;
        }
    }
    if mass > 0.0 { moment / mass } else { local }
}

/// Mean direction over the sphere and half the mean squared angle to it.
fn spread(sphere: &Sphere<'_>, weights: &[f64]) -> Option<(Vector3<f64>, f64)> {
    let sum: Vector3<f64> = sphere.points.iter().zip(weights).map(|(p, w)| p * *w).sum();
    let total: f64 = weights.iter().sum();
    let mean = sum.try_normalize(1e-9 * total)?;
    let moment: f64 = sphere
        .points
        .iter()
        .zip(weights)
        .map(|(p, w)| w * p.dot(&mean).clamp(-1.0, 1.0).acos().powi(2))
        .sum();
    Some((mean, 0.5 * moment / total))
}
