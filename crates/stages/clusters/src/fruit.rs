//! One body's evidence about its spur: where could it be, and how unlikely is each place?
//!
//! The negative log-likelihood has three parts: the stem's length, the angle between the fruit's axis and the end of
//! the stem, and where the stem was seen to end ([`crate::stem`]). Constants that do not depend on the spur are left out.

use crate::config::Config;
use crate::habit::Habit;
use crate::stem::{Cover, SeenStem, StemReading};
use corymb_model::scene::Body;
use nalgebra::{Matrix3, Vector3};

/// Share of axes that are wrong altogether.
const WRONG_AXES: f64 = 0.03;
/// The same where the stem is another fruit's.
const WRONG_AXES_OF_WRONG_STEMS: f64 = 0.4;
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

    /// Where its stem begins, seen from a spur.
    pub(crate) fn top(&self, spur: &Vector3<f64>) -> Vector3<f64> {
        match (&self.stem, &self.axis) {
            (Some(stem), _) => stem.top,
            (None, Some((axis, _))) => self.centre - axis * self.reach_m,
            (None, None) => self.nearest(spur),
        }
    }

    /// The point of its surface that is nearest to a spur.
    fn nearest(&self, spur: &Vector3<f64>) -> Vector3<f64> {
        let away = spur - self.centre;
        self.centre + away * (self.reach_m / away.norm().max(1e-6))
    }

    /// Negative log-likelihood of what was seen if the fruit hangs on a spur at `spur`, and how its stem is read.
    ///
    /// A stem that is another fruit's has bent the axis towards itself, so the two are wrong together.
    pub(crate) fn cost(
        &self,
        spur: &Vector3<f64>,
        cover: Cover,
        habit: &Habit,
        config: &Config,
    ) -> (Cost, StemReading) {
        let Some(stem) = &self.stem else {
            return (
                self.hung(spur, self.top(spur), WRONG_AXES, habit, config),
                StemReading::None,
            );
        };
        let mut own = self.hung(spur, stem.top, WRONG_AXES, habit, config);
        let read = stem.read(spur, cover, habit, config);
        own.value += read.loss;
        own.gradient += read.precision * read.off;
        own.curvature += read.precision;
        if own.value > stem.wrong {
            let mut other = self.hung(
                spur,
                self.nearest(spur),
                WRONG_AXES_OF_WRONG_STEMS,
                habit,
                config,
            );
            other.value += stem.wrong;
            if other.value < own.value {
                return (other, StemReading::None);
            }
        }
        (own, read.reading)
    }

    /// Cost of stem length and axis with the stem from `spur` to `top`, when a share of axes is wrong.
    fn hung(
        &self,
        spur: &Vector3<f64>,
        top: Vector3<f64>,
        wrong_axes: f64,
        habit: &Habit,
        config: &Config,
    ) -> Cost {
        let mut cost = Cost::default();
        let chord = spur - top;
        let length = chord.norm().max(1e-4);
        let away = chord / length;
        let [mean, deviation] = habit.length_m;
        let z = (length - mean) / deviation;
        cost.gradient += away * (z / deviation + 2.0 / length);
        cost.curvature += away * away.transpose() / (deviation * deviation);
        let agreement = self.add_axis(&mut cost, &away, length, wrong_axes, habit, config);
        // the fruit lies anywhere on a sphere about the spur: its density falls with the square of the length
        cost.value += 0.5 * z * z + ((length / mean).powi(2) / agreement).ln();
        cost
    }

    /// The axis against the end of the stem: a normal distribution on the sphere with a uniform share. Adds slope and
    /// curvature, returns the density.
    fn add_axis(
        &self,
        cost: &mut Cost,
        away: &Vector3<f64>,
        length: f64,
        wrong: f64,
        habit: &Habit,
        config: &Config,
    ) -> f64 {
        let Some((axis, deviation)) = self.axis else {
            return 1.0;
        };
        let variance = deviation.powi(2) + config.bend_deviation_rad.powi(2);
        let off = axis - habit.arriving(&-away);
        let core = (1.0 - wrong) * (-off.norm_squared() / (2.0 * variance)).exp() / variance;
        let density = core + 0.5 * wrong;
        // a move of the spur across the stem turns its direction the other way
        let precision = core / density / variance;
        let across = off - away * off.dot(away);
        cost.gradient += across * (precision / length);
        cost.curvature +=
            (Matrix3::identity() - away * away.transpose()) * (precision / (length * length));
        density
    }

    /// How its stem is read when it hangs on a spur at `spur`.
    pub(crate) fn reading(
        &self,
        spur: &Vector3<f64>,
        cover: Cover,
        habit: &Habit,
        config: &Config,
    ) -> StemReading {
        self.cost(spur, cover, habit, config).1
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
