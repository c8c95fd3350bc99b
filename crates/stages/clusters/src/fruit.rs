//! One body's evidence about its spur: where could it be, and how unlikely is each place?
//!
//! The negative log-likelihood has three parts: the stem's length, the angle between the fruit's axis and the end of
//! the stem, and where the stem was seen to end (at the spur, short of it because its far part is hidden, or, as it was
//! given to the wrong fruit, anywhere). Constants that do not depend on the spur are left out.

use crate::config::Config;
use crate::habit::Habit;
use corymb_model::scene::Body;
use nalgebra::{Matrix3, Vector3};

/// Share of axes that are wrong altogether.
const WRONG_AXES: f64 = 0.03;
/// Share of stems that are wrong altogether: of one image, and of very many.
const WRONG_STEMS: [f64; 2] = [0.2, 0.03];
/// An inverse variance that stands for no knowledge, 1 / m^2: 50 mm.
const NO_KNOWLEDGE: f64 = 400.0;

/// A body as clustering sees it.
pub(crate) struct Fruit {
    /// Centre.
    pub(crate) centre: Vector3<f64>,
    /// Distance of the stem's end from the centre.
    pub(crate) reach_m: f64,
    /// Diameter.
    pub(crate) diameter_m: f64,
    /// Unit axis and its deviation per axis.
    pub(crate) axis: Option<(Vector3<f64>, f64)>,
    /// Where the stem was seen to end.
    pub(crate) stem: Option<SeenStem>,
}

/// A stem as fusion has it.
pub(crate) struct SeenStem {
    /// Where it meets the fruit.
    pub(crate) top: Vector3<f64>,
    /// Where it was seen to end.
    pub(crate) far: Vector3<f64>,
    precision: Matrix3<f64>,
    /// From the fruit to the far end, unit.
    onwards: Vector3<f64>,
    /// `precision` along `onwards`.
    onwards_precision: f64,
    /// Loss for the far part being hidden, without what depends on its length.
    hidden: f64,
    /// Loss for the stem not being this fruit's.
    wrong: f64,
}

/// Value, slope and curvature of a cost of the spur.
#[derive(Clone, Copy, Default)]
pub(crate) struct Cost {
    /// Nats.
    pub(crate) value: f64,
    /// A metre.
    pub(crate) gradient: Vector3<f64>,
    /// A metre squared, positive semidefinite.
    pub(crate) curvature: Matrix3<f64>,
}

/// How a stem is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum StemReading {
    /// None was seen, or it is not this fruit's.
    None,
    /// Seen up to the spur.
    Whole,
    /// Its far part is hidden.
    Short,
}

impl Fruit {
    /// What fusion knows of a body.
    pub(crate) fn new(body: &Body, config: &Config) -> Fruit {
        Fruit {
            centre: body.centre.xyz,
            reach_m: body.radius_m * config.length_over_diameter,
            diameter_m: 2.0 * body.radius_m,
            axis: body.axis.map(|a| (a.direction.xyz, a.deviation_rad)),
            stem: body.stem.as_ref().and_then(|s| {
                SeenStem::new(s.top.xyz, s.far.xyz, &s.far_covariance_m2, s.views, config)
            }),
        }
    }

    /// Where its stem begins, seen from a spur, and the share of moves of the spur that this point follows.
    pub(crate) fn top(&self, spur: &Vector3<f64>) -> Vector3<f64> {
        match (&self.stem, &self.axis) {
            (Some(stem), _) => stem.top,
            (None, Some((axis, _))) => self.centre - axis * self.reach_m,
            (None, None) => {
                let away = spur - self.centre;
                self.centre + away * (self.reach_m / away.norm().max(1e-6))
            }
        }
    }

    /// Negative log-likelihood of what was seen if the fruit hangs on a spur at `spur`.
    pub(crate) fn cost(&self, spur: &Vector3<f64>, habit: &Habit, config: &Config) -> Cost {
        let mut cost = Cost::default();
        let chord = spur - self.top(spur);
        let length = chord.norm().max(1e-4);
        let away = chord / length;
        let [mean, deviation] = habit.length_m;
        let z = (length - mean) / deviation;
        // the fruit lies anywhere on a sphere about the spur: its density falls with the square of the length
        cost.value += 0.5 * z * z + 2.0 * (length / mean).ln();
        cost.gradient += away * (z / deviation + 2.0 / length);
        cost.curvature += away * away.transpose() / (deviation * deviation);
        self.add_axis(&mut cost, &away, length, habit, config);
        if let Some(stem) = &self.stem {
            stem.add(&mut cost, spur, config);
        }
        cost
    }

    /// The axis against the end of the stem: a normal distribution on the sphere with a small uniform share.
    fn add_axis(
        &self,
        cost: &mut Cost,
        away: &Vector3<f64>,
        length: f64,
        habit: &Habit,
        config: &Config,
    ) {
        let Some((axis, deviation)) = self.axis else {
            return;
        };
        let variance = deviation.powi(2) + config.bend_deviation_rad.powi(2);
        let off = axis - habit.arriving(&-away);
        let core = (1.0 - WRONG_AXES) * (-off.norm_squared() / (2.0 * variance)).exp() / variance;
        let total = core + 0.5 * WRONG_AXES;
        cost.value -= total.ln();
        // a move of the spur across the stem turns its direction the other way
        let precision = core / total / variance;
        let across = off - away * off.dot(away);
        cost.gradient += across * (precision / length);
        cost.curvature +=
            (Matrix3::identity() - away * away.transpose()) * (precision / (length * length));
    }

    /// How its stem is read when it hangs on a spur at `spur`.
    pub(crate) fn reading(&self, spur: &Vector3<f64>, config: &Config) -> StemReading {
        self.stem
            .as_ref()
            .map_or(StemReading::None, |s| s.readings(spur, config).0)
    }

    /// Places where its spur could be, the likeliest first; never empty.
    pub(crate) fn guesses(
        &self,
        habit: &Habit,
        towards_wood: Option<Vector3<f64>>,
    ) -> Vec<Vector3<f64>> {
        let mut out = Vec::new();
        if let Some(stem) = &self.stem {
            out.push(stem.far);
        }
        let length = habit.length_m[0];
        if let Some((axis, _)) = self.axis {
            let top = self.centre - axis * self.reach_m;
            // the chord whose end arrives along the axis
            let rise = Vector3::z() - axis * axis.z;
            let along = (axis + rise * (4.0 * habit.sag)).normalize();
            out.push(top - along * length);
        }
        if let Some(direction) = towards_wood {
            out.push(self.centre + direction * (self.reach_m + length));
        }
        if out.is_empty() {
            out.push(self.centre + Vector3::z() * (self.reach_m + length));
        }
        out
    }
}

impl SeenStem {
    fn new(
        top: Vector3<f64>,
        far: Vector3<f64>,
        covariance: &Matrix3<f64>,
        views: usize,
        config: &Config,
    ) -> Option<SeenStem> {
        let covariance = covariance + Matrix3::identity() * config.stem_end_deviation_m.powi(2);
        let precision = covariance.try_inverse()? + Matrix3::identity() * NO_KNOWLEDGE;
        let onwards = (far - top).try_normalize(1e-6)?;
        let onwards_precision = onwards.dot(&(precision * onwards));
        #[allow(clippy::cast_precision_loss)] // counts of images
        let wrong_share = WRONG_STEMS[1] + (WRONG_STEMS[0] - WRONG_STEMS[1]) / views.max(1) as f64;
        let hidden_share = config.hidden_share.clamp(1e-3, 0.5);
        let whole = 1.0 - wrong_share - hidden_share;
        let two_pi = 2.0 * std::f64::consts::PI;
        // an end in the wrong place may be anywhere in a ball of the longest stem's radius
        let ball = 4.0 / 3.0 * std::f64::consts::PI * config.longest_stem_m.powi(3);
        let peak = (precision.determinant().max(0.0)).sqrt() / two_pi.powf(1.5);
        let hidden = (whole / hidden_share).ln()
            + (config.hidden_length_m * (onwards_precision / two_pi).sqrt()).ln();
        let wrong = (whole / wrong_share).ln() + (peak * ball).max(1.0).ln();
        Some(SeenStem {
            top,
            far,
            precision,
            onwards,
            onwards_precision,
            hidden,
            wrong,
        })
    }

    /// The best reading for a spur, its loss, and how much of the stem it takes as hidden.
    fn readings(&self, spur: &Vector3<f64>, config: &Config) -> (StemReading, f64, f64) {
        let off = spur - self.far;
        let pulled = self.precision * off;
        let whole = 0.5 * off.dot(&pulled);
        let mut best = (StemReading::Whole, whole, 0.0);
        // the likeliest hidden length: the normal part pulls it up, the exponential one down
        let free =
            (self.onwards.dot(&pulled) - 1.0 / config.hidden_length_m) / self.onwards_precision;
        if free > 0.0 {
            let rest = off - self.onwards * free;
            let short = 0.5 * rest.dot(&(self.precision * rest))
                + free / config.hidden_length_m
                + self.hidden;
            if short < best.1 {
                best = (StemReading::Short, short, free);
            }
        }
        if self.wrong < best.1 {
            (StemReading::None, self.wrong, 0.0)
        } else {
            best
        }
    }

    fn add(&self, cost: &mut Cost, spur: &Vector3<f64>, config: &Config) {
        let (reading, loss, hidden_m) = self.readings(spur, config);
        cost.value += loss;
        match reading {
            StemReading::Whole => {
                cost.gradient += self.precision * (spur - self.far);
                cost.curvature += self.precision;
            }
            StemReading::Short => {
                let rest = spur - self.far - self.onwards * hidden_m;
                cost.gradient += self.precision * rest;
                // along the stem the exponential part is straight
                let along = self.precision * self.onwards;
                cost.curvature +=
                    self.precision - along * along.transpose() / self.onwards_precision;
            }
            StemReading::None => {}
        }
    }
}
