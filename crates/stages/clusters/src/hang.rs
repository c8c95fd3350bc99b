//! Which way each fruit hangs once its spur is known.
//!
//! Fusion's axis already holds what the fruit's own stem says. Where the stem was not seen, or was another fruit's, the
//! spur adds the direction from which the stem must come.

use crate::fruit::Fruit;
use crate::spur::{Scales, Spur};
use crate::stem::StemReading;
use corymb_model::frames::Direction;
use corymb_model::scene::Axis;
use nalgebra::{Matrix3, Vector3};

/// Standard deviations beyond which two directions contradict each other; then the surer one holds.
const CONTRADICTION: f64 = 3.0;
/// No direction is known worse than this, radians: any two differ by less than half a turn.
const WORST_DEVIATION_RAD: f64 = 1.2;

/// How a fruit hangs and where its stem begins.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hang {
    /// Its axis.
    pub(crate) axis: Option<Axis>,
    /// Where its stem meets it.
    pub(crate) top: Vector3<f64>,
}

/// How fruit `i` hangs on `spur`, which is its own with probability `membership`.
pub(crate) fn hang(scales: &Scales<'_>, i: usize, spur: &Spur, membership: f64) -> Hang {
    let fruit = &scales.fruit[i];
    let reading = fruit.reading(&spur.at, spur.cover, &scales.habit, scales.config);
    let own_stem = fruit.stem.as_ref().filter(|_| reading != StemReading::None);
    if let (Some(stem), Some((axis, deviation))) = (own_stem, fruit.axis) {
        return Hang {
            axis: axis_of(axis, deviation),
            top: stem.top,
        };
    }
    let (from_spur, deviation) = towards(scales, fruit, spur, membership);
    let (axis, deviation) = match fruit.axis {
        Some((own, own_deviation)) => together(own, own_deviation, from_spur, deviation),
        None => (from_spur, deviation),
    };
    Hang {
        axis: axis_of(axis, deviation),
        top: own_stem.map_or(fruit.centre - axis * fruit.reach_m, |s| s.top),
    }
}

fn axis_of(direction: Vector3<f64>, deviation: f64) -> Option<Axis> {
    Some(Axis {
        direction: Direction::of(direction)?,
        deviation_rad: deviation,
    })
}

/// The axis that a stem from the spur gives, and its deviation.
fn towards(
    scales: &Scales<'_>,
    fruit: &Fruit,
    spur: &Spur,
    membership: f64,
) -> (Vector3<f64>, f64) {
    let away = (fruit.centre - spur.at)
        .try_normalize(1e-6)
        .unwrap_or_else(Vector3::z);
    let mut axis = away;
    for _ in 0..2 {
        let along = (fruit.centre - axis * fruit.reach_m - spur.at)
            .try_normalize(1e-6)
            .unwrap_or(away);
        axis = scales.habit.arriving(&along);
    }
    let length = (fruit.centre - spur.at).norm().max(fruit.reach_m);
    let spur_variance = spur
        .precision
        .try_inverse()
        .map_or(0.0, |c: Matrix3<f64>| c.trace() / 3.0);
    let variance = scales.config.bend_deviation_rad.powi(2) + spur_variance / (length * length);
    // if the spur is not its own, any direction is possible
    let unsure = (1.0 - membership.clamp(0.0, 1.0)) * WORST_DEVIATION_RAD.powi(2);
    (axis, (variance + unsure).sqrt().min(WORST_DEVIATION_RAD))
}

/// Two observations of one direction as one.
fn together(
    a: Vector3<f64>,
    deviation_a: f64,
    b: Vector3<f64>,
    deviation_b: f64,
) -> (Vector3<f64>, f64) {
    let (va, vb) = (deviation_a * deviation_a, deviation_b * deviation_b);
    let surer = if va <= vb {
        (a, deviation_a)
    } else {
        (b, deviation_b)
    };
    let off = (a - b).norm_squared();
    if off > CONTRADICTION * CONTRADICTION * (va + vb) {
        return surer;
    }
    let mean = (a / va.max(1e-12) + b / vb.max(1e-12)).try_normalize(1e-9);
    mean.map_or(surer, |m| (m, (va * vb / (va + vb).max(1e-12)).sqrt()))
}
