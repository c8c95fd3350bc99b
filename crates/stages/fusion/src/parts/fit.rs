//! Axis and stem of one body from everything that shows them, at once.
//!
//! Unknowns are the axis (a unit vector) and, where stem boxes were given, the stem's far end. The near end is the
//! body's stem pole, so a stem box speaks for the axis as well. Levenberg-Marquardt with reweighting (every
//! observation has a bounded or tailed loss); the covariance is the inverse of the weighted normal matrix.

use super::PartsConfig;
use super::direction::{AxisEvidence, AxisNoise};
use super::piece::{EdgeModel, EndState, Piece, leaving};
use super::sights::Sights;
use nalgebra::{Matrix2, Matrix3, SMatrix, SVector, Vector3};

type Normal = SMatrix<f64, 5, 5>;
type Step = SVector<f64, 5>;

/// Iterations at most; four to six are usual.
const ITERATIONS: usize = 12;
/// An iteration that lowers the loss by less ends the search, nats.
const SMALLEST_GAIN: f64 = 1e-3;
/// Steps of the numeric derivative: radians, metres.
const TURN_STEP: f64 = 1e-5;
const MOVE_STEP_M: f64 = 1e-6;

/// A stem box given to the body.
#[derive(Clone, Copy)]
pub(super) struct StemBox {
    /// Position in [`Sights::all`].
    pub(super) sight_idx: usize,
    /// Position in `Image::stems`.
    pub(super) box_idx: usize,
    /// Its edge model.
    pub(super) model: EdgeModel,
}

/// What the run says about stems and axes.
#[derive(Clone, Copy)]
pub(super) struct Habit {
    /// Length of a stem: mean and deviation, metres.
    pub(super) length_m: [f64; 2],
    /// Deviation of an image axis, radians.
    pub(super) image_axis_rad: f64,
    /// How far stems run above their chord, in lengths.
    pub(super) sag: f64,
}

/// One body's problem.
pub(super) struct Problem<'a> {
    pub(super) sights: &'a Sights,
    pub(super) evidence: &'a AxisEvidence,
    /// The least loss of `evidence` over the sphere.
    pub(super) least: f64,
    pub(super) boxes: Vec<StemBox>,
    pub(super) radius_m: f64,
    pub(super) habit: Habit,
    pub(super) config: &'a PartsConfig,
}

/// Where the search stands.
#[derive(Clone, Copy)]
pub(super) struct Guess {
    /// Unit axis, stem end to calyx end.
    pub(super) axis: Vector3<f64>,
    /// Offset of the stem's far end from the body's centre.
    pub(super) far: Option<Vector3<f64>>,
}

/// Residuals in standard deviations with their weights, and how each stem box's ends are explained.
#[derive(Default)]
struct Residuals {
    values: Vec<(f64, f64)>,
    states: Vec<[EndState; 2]>,
}

/// The answer.
pub(super) struct Fitted {
    pub(super) guess: Guess,
    /// Loss there, nats.
    pub(super) loss: f64,
    /// Covariance of the axis in its tangent plane, radians squared.
    pub(super) axis_covariance: Matrix2<f64>,
    /// Covariance of the far end.
    pub(super) far_covariance: Option<Matrix3<f64>>,
}

impl Problem<'_> {
    /// Offset of the stem's near end from the centre.
    pub(super) fn top(&self, axis: &Vector3<f64>) -> Vector3<f64> {
        axis * (-self.radius_m * self.config.length_over_diameter)
    }

    /// Loss of what ties the axis to a stem: the bend between them and the stem's length.
    pub(super) fn tie_loss(&self, guess: &Guess) -> f64 {
        let mut out = Vec::new();
        self.tie_residuals(guess, &mut out);
        out.iter().map(|(e, _)| 0.5 * e * e).sum()
    }

    fn tie_residuals(&self, guess: &Guess, out: &mut Vec<(f64, f64)>) {
        let Some(far) = guess.far else { return };
        let chord = self.top(&guess.axis) - far;
        let length = chord.norm().max(1e-6);
        let bend = (guess.axis - leaving(&(chord / length), self.habit.sag))
            / self.config.bend_deviation_rad;
        out.extend(bend.iter().map(|&e| (e, 1.0)));
        out.push((
            (length - self.habit.length_m[0]) / self.habit.length_m[1],
            1.0,
        ));
    }

    /// Residuals and the loss. With `frozen` every end is explained as it was before, so that derivatives compare like
    /// with like.
    fn residuals(&self, guess: &Guess, out: &mut Residuals, frozen: bool) -> f64 {
        out.values.clear();
        let noise = AxisNoise {
            image_axis_rad: self.habit.image_axis_rad,
            slack_rad: 0.0,
        };
        self.evidence.residuals(&guess.axis, noise, &mut out.values);
        let mut loss = self.evidence.loss(&guess.axis, noise);
        let before = out.values.len();
        self.tie_residuals(guess, &mut out.values);
        loss += out.values[before..]
            .iter()
            .map(|(e, _)| 0.5 * e * e)
            .sum::<f64>();
        let Some(far) = guess.far else { return loss };
        if !frozen {
            out.states.clear();
        }
        let piece = Piece::new(self.top(&guess.axis), far, self.habit.sag);
        for (i, b) in self.boxes.iter().enumerate() {
            let sight = &self.sights.all[b.sight_idx];
            let image = self.sights.image(sight);
            let ends = b
                .model
                .ends(&piece.see(sight, image), &image.stems[b.box_idx]);
            if !frozen {
                let states = ends.map(|e| b.model.state(&e));
                loss += states[0].1 + states[1].1;
                out.states.push(states.map(|s| s.0));
            }
            for (end, state) in ends.iter().zip(out.states[i]) {
                out.values.extend(b.model.residuals(end, state));
            }
        }
        loss
    }

    /// The least loss near `start`.
    pub(super) fn solve(&self, start: Guess) -> Fitted {
        let (mut guess, mut now, mut next) = (start, Residuals::default(), Residuals::default());
        let mut loss = self.residuals(&guess, &mut now, false);
        let mut damping = 1e-3;
        let mut normal = Normal::identity();
        for _ in 0..ITERATIONS {
            let (n, gradient) = self.normal(&guess, &now);
            normal = n;
            let Some((better, lower)) =
                self.step(&guess, loss, &n, &gradient, &mut damping, &mut next)
            else {
                break;
            };
            let gained = loss - lower;
            (guess, loss) = (better, lower);
            std::mem::swap(&mut now, &mut next);
            if gained < SMALLEST_GAIN {
                break;
            }
        }
        let covariance = normal
            .try_inverse()
            .unwrap_or_else(|| Normal::identity() * 1e3);
        Fitted {
            guess,
            loss,
            axis_covariance: covariance.fixed_view::<2, 2>(0, 0).into_owned(),
            far_covariance: guess
                .far
                .map(|_| covariance.fixed_view::<3, 3>(2, 2).into_owned()),
        }
    }

    /// A step that lowers the loss, with more and more damping; `None` where none does.
    fn step(
        &self,
        guess: &Guess,
        loss: f64,
        normal: &Normal,
        gradient: &Step,
        damping: &mut f64,
        scratch: &mut Residuals,
    ) -> Option<(Guess, f64)> {
        for _ in 0..6 {
            let mut damped = *normal;
            for k in 0..5 {
                damped[(k, k)] *= 1.0 + *damping;
            }
            let step = damped.cholesky()?.solve(gradient);
            let tried = moved(guess, &-step);
            let lower = self.residuals(&tried, scratch, false);
            if lower < loss {
                *damping = (*damping * 0.2).max(1e-9);
                return Some((tried, lower));
            }
            *damping = (*damping * 8.0).max(1e-4);
        }
        None
    }

    /// Weighted normal matrix and gradient, by forward differences.
    fn normal(&self, guess: &Guess, now: &Residuals) -> (Normal, Step) {
        let dims = if guess.far.is_some() { 5 } else { 2 };
        let mut moved_to = Residuals {
            values: Vec::new(),
            states: now.states.clone(),
        };
        let mut slopes = vec![Step::zeros(); now.values.len()];
        for k in 0..dims {
            let h = if k < 2 { TURN_STEP } else { MOVE_STEP_M };
            let mut step = Step::zeros();
            step[k] = h;
            self.residuals(&moved(guess, &step), &mut moved_to, true);
            for ((slope, m), n) in slopes.iter_mut().zip(&moved_to.values).zip(&now.values) {
                slope[k] = (m.0 - n.0) / h;
            }
        }
        // what nothing observes keeps a wide variance instead of none
        let mut normal = Normal::from_diagonal(&Step::from([1e-3, 1e-3, 1.0, 1.0, 1.0]));
        let mut gradient = Step::zeros();
        for (slope, &(e, w)) in slopes.iter().zip(&now.values) {
            for a in 0..dims {
                let wa = w * slope[a];
                gradient[a] += wa * e;
                for b in a..dims {
                    normal[(a, b)] += wa * slope[b];
                }
            }
        }
        normal.fill_lower_triangle_with_upper_triangle();
        (normal, gradient)
    }
}

/// A guess after a step: two turns in the axis' tangent plane, three metres.
fn moved(guess: &Guess, step: &Step) -> Guess {
    let (e, f) = tangents(&guess.axis);
    let axis = (guess.axis + e * step[0] + f * step[1]).normalize();
    let far = guess
        .far
        .map(|p| p + Vector3::new(step[2], step[3], step[4]));
    Guess { axis, far }
}

/// Two unit vectors that span the plane across `a`.
pub(super) fn tangents(a: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let least = if a.x.abs() < a.y.abs().min(a.z.abs()) {
        Vector3::x()
    } else if a.y.abs() < a.z.abs() {
        Vector3::y()
    } else {
        Vector3::z()
    };
    let e = a.cross(&least).normalize();
    (e, a.cross(&e))
}
