//! Displacements against what simple kriging gives by hand.

use super::field::Field;
use super::residual::{Axes, Residual};
use super::{Displaced, Sway};
use crate::bodies::Placed;
use crate::edge_model::Stir;
use nalgebra::{Matrix3, Vector2, Vector3};

const MOTION_M2: f64 = 25e-6;
const NOISE_M2: f64 = 1e-6;
/// Neighbours share four fifths of a motion that lasts a fifth of a second.
const SWAY: Sway = Sway {
    share: 0.8,
    lasts_s: 0.2,
};

/// Upside down, looking along y of the orchard.
fn camera() -> Placed {
    Placed {
        r: Matrix3::new(-1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 1.0, 0.0),
        t: Vector3::new(0.0, -0.7, 0.0),
    }
}

/// A residual in the image's axes (right, down), metres, of a body at x, so long after the image.
fn told(body: usize, x_m: f64, dt_s: f64, y: [f64; 2]) -> (f64, Residual) {
    let axes = Axes::new(&camera());
    let r = Residual {
        body,
        frame: usize::from(dt_s != 0.0),
        at: Vector3::new(x_m, 0.0, 0.0),
        level: camera().r * axes.level().push(0.0),
        y: axes.along_axes(&Vector2::from(y)),
        noise_m2: NOISE_M2,
    };
    (dt_s, r)
}

/// The displacement of body 0 at the origin by what is told of others, and of itself at other times.
fn displaced(sway: Sway, all: &[(f64, Residual)]) -> Displaced {
    let told = all.iter().map(|(dt_s, r)| (*dt_s, r));
    let (axes, motion) = (Axes::new(&camera()), Stir::alike(MOTION_M2.sqrt()));
    let field = Field::new(sway, motion, axes, &camera(), told);
    field.displaced(&Vector3::zeros(), 0, |r| r.body != 0 || r.frame != 0)
}

/// From one value that correlates so with the place: v c / (v + n), and v (1 - v c^2 / (v + n)) left.
fn by_hand(correlation: f64) -> (f64, f64) {
    let weight = MOTION_M2 * correlation / (MOTION_M2 + NOISE_M2);
    (weight, MOTION_M2 * (1.0 - weight * correlation))
}

#[test]
fn one_residual_is_followed_as_far_as_it_correlates() {
    let y = [0.005, -0.002];
    let gauss = |z: f64| (-0.5 * z * z).exp();
    let cases = [
        (told(1, 0.0, 0.0, y), 0.8),
        (told(1, 0.04, 0.0, y), 0.8 * gauss(1.0)),
        (told(0, 0.0, 0.2, y), gauss(1.0)),
        (told(0, 0.0, -0.1, y), gauss(0.5)),
        (told(1, 0.02, 0.2, y), 0.8 * gauss(0.5) * gauss(1.0)),
    ];
    for (residual, correlation) in cases {
        let d = displaced(SWAY, &[residual]);
        let (weight, left_m2) = by_hand(correlation);
        assert!((d.by - Vector3::new(y[0], y[1], 0.0) * weight).norm() < 1e-12);
        assert!((d.left.level_m2 - left_m2).abs() < 1e-15);
        assert!((d.left.plumb_m2 - left_m2).abs() < 1e-15);
    }
}

#[test]
fn its_own_box_of_the_image_what_is_far_and_what_is_long_ago_tell_nothing() {
    let y = [0.005, 0.0];
    let still = Sway {
        lasts_s: 0.0,
        ..SWAY
    };
    let cases = [
        (SWAY, told(0, 0.0, 0.0, y)),
        (SWAY, told(1, 0.5, 0.0, y)),
        (SWAY, told(0, 0.0, 3.0, y)),
        (still, told(0, 0.0, 0.1, y)),
    ];
    for (sway, residual) in cases {
        let d = displaced(sway, &[residual]);
        assert_eq!(d.by, Vector3::zeros());
        assert!((d.left.level_m2 - MOTION_M2).abs() < 1e-18);
    }
}

#[test]
fn residuals_that_agree_count_for_more_and_a_tenth_for_nothing() {
    let y = [0.004, 0.0];
    let one = displaced(SWAY, &[told(1, 0.02, 0.0, y)]);
    let two = displaced(SWAY, &[told(1, 0.02, 0.0, y), told(2, -0.02, 0.0, y)]);
    assert!(two.by.x > one.by.x && two.left.level_m2 < one.left.level_m2);
    let eight: Vec<_> = (1..9).map(|k| told(k, 0.001 * k as f64, 0.0, y)).collect();
    let mut more = eight.clone();
    more.push(told(9, 0.09, 0.0, [-0.004, 0.0]));
    assert_eq!(displaced(SWAY, &eight).by, displaced(SWAY, &more).by);
}
