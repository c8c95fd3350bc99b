//! One body's evidence about its spur: where could it be, and how unlikely is each place?
//!
//! The negative log-likelihood has three parts: the stem's length, the angle between the fruit's axis and the end of
//! the stem, and where the stem was seen to end ([`crate::stem`]). Constants that do not depend on the spur are left out.

use crate::config::Config;
use crate::habit::Habit;
use crate::stem::{Cover, SeenStem, StemReading};
use corymb_model::run::Class;
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
    /// Whether it sits on its spur without a stem and is a cluster of its own: a bud, or a whole flower cluster.
    pub(crate) sits: bool,
    /// Unit axis and its deviation per axis.
    pub(crate) axis: Option<(Vector3<f64>, f64)>,
    /// Where the stem was seen to end.
    pub(crate) stem: Option<SeenStem>,
}

/// Where a stem meets its fruit, and the point about which the stem turns when the spur moves.
#[derive(Clone, Copy)]
struct NearEnd {
    top: Vector3<f64>,
    pivot: Vector3<f64>,
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
            sits: matches!(body.class, Class::Bud | Class::FlowerCluster),
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

    /// The near end of its stem as [`Fruit::top`] has it.
    fn near_end(&self, spur: &Vector3<f64>) -> NearEnd {
        let top = self.top(spur);
        let pivot = if self.stem.is_some() || self.axis.is_some() {
            top
        } else {
            self.centre
        };
        NearEnd { top, pivot }
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
                self.hung(spur, self.near_end(spur), WRONG_AXES, habit, config),
                StemReading::None,
            );
        };
        let mut own = self.hung(spur, self.near_end(spur), WRONG_AXES, habit, config);
        let read = stem.read(spur, cover, habit, config);
        own.value += read.loss;
        own.gradient += read.precision * read.off;
        own.curvature += read.precision;
        if own.value > stem.wrong {
            let any = NearEnd {
                top: self.nearest(spur),
                pivot: self.centre,
            };
            let mut other = self.hung(spur, any, WRONG_AXES_OF_WRONG_STEMS, habit, config);
            other.value += stem.wrong;
            if other.value < own.value {
                return (other, StemReading::None);
            }
        }
        (own, read.reading)
    }

    /// Cost of stem length and axis with the stem from `spur` to its near end, when a share of axes is wrong.
    fn hung(
        &self,
        spur: &Vector3<f64>,
        end: NearEnd,
        wrong_axes: f64,
        habit: &Habit,
        config: &Config,
    ) -> Cost {
        let mut cost = Cost::default();
        let chord = spur - end.top;
        let length = chord.norm().max(1e-4);
        let away = chord / length;
        let [mean, deviation] = habit.length_m;
        let z = (length - mean) / deviation;
        cost.gradient += away * (z / deviation + 2.0 / length);
        cost.curvature += away * away.transpose() / (deviation * deviation);
        let lever = (spur - end.pivot).norm().max(1e-4);
        let agreement = self.add_axis(&mut cost, &away, lever, wrong_axes, habit, config);
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
        lever: f64,
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
        cost.gradient += across * (precision / lever);
        cost.curvature +=
            (Matrix3::identity() - away * away.transpose()) * (precision / (lever * lever));
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

#[cfg(test)]
mod tests {
    use super::Fruit;
    use crate::config::Config;
    use crate::habit::Habit;
    use crate::stem::{Cover, SeenStem, StemReading};
    use nalgebra::{Matrix3, Vector3};
    use proptest::prelude::*;

    fn fruit(with_axis: bool, with_stem: bool, config: &Config) -> Fruit {
        let axis = Vector3::new(0.3, -0.8, -0.5).normalize();
        let top = -axis * 0.008;
        let covariance = Matrix3::from_diagonal(&Vector3::new(1e-6, 4e-6, 2e-6));
        Fruit {
            centre: Vector3::zeros(),
            reach_m: 0.008,
            diameter_m: 0.015,
            sits: false,
            axis: with_axis.then_some((axis, 0.2)),
            stem: if with_stem {
                SeenStem::new(top, top - axis * 0.02, &covariance, 5, config)
            } else {
                None
            },
        }
    }

    proptest! {
        #[test]
        fn slopes_are_those_of_the_cost(
            x in -0.04..0.04f64, y in 0.005..0.04f64, z in -0.04..0.04f64, axis: bool, stem: bool
        ) {
            let config = Config::default();
            let habit = Habit::prior(&config, 0.0);
            let fruit = fruit(axis, stem, &config);
            let at = Vector3::new(x, y, z);
            prop_assume!(at.norm() > 0.012);
            let (cost, reading) = fruit.cost(&at, Cover::Open, &habit, &config);
            // a hidden part's slope is an approximation
            prop_assume!(reading != StemReading::Short);
            for k in 0..3 {
                let mut step = Vector3::zeros();
                step[k] = 1e-7;
                let (up, r) = fruit.cost(&(at + step), Cover::Open, &habit, &config);
                let (down, s) = fruit.cost(&(at - step), Cover::Open, &habit, &config);
                prop_assume!(r == reading && s == reading);
                let slope = (up.value - down.value) / 2e-7;
                prop_assert!((slope - cost.gradient[k]).abs() < 1e-3 * (1.0 + slope.abs()), "{slope} {}", cost.gradient[k]);
            }
        }
    }

    #[test]
    fn a_spur_where_the_stem_ends_costs_less_than_one_beside_it() {
        let config = Config::default();
        let habit = Habit::prior(&config, 0.0);
        let fruit = fruit(true, true, &config);
        let end = fruit.stem.as_ref().unwrap().far;
        let at = |p: Vector3<f64>| fruit.cost(&p, Cover::Open, &habit, &config);
        assert_eq!(at(end).1, StemReading::Whole);
        assert_eq!(
            at(end - fruit.axis.unwrap().0 * 0.009).1,
            StemReading::Short
        );
        let beside = end + fruit.axis.unwrap().0.cross(&Vector3::z()).normalize() * 0.03;
        assert_eq!(at(beside).1, StemReading::None);
        assert!(at(end).0.value + 5.0 < at(beside).0.value);
    }
}
