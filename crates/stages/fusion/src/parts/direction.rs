//! What calyx boxes and image axes say about the direction in which a body hangs.

use super::PartsConfig;
use super::sights::{Image, Sight};
use nalgebra::{Matrix2x3, Matrix3, Vector2, Vector3};

/// Loss, in nats, that an observation which contradicts all others approaches.
const LARGEST_LOSS: f64 = 12.0;
/// Cosine of the angle to the line of sight below which a calyx end is not seen.
const FACING: f64 = 0.2;
/// Standard deviation of the pole's distance from the centre, in radii.
pub(super) const SHAPE: f64 = 0.05;
/// Width of that limit.
const FACING_SOFT: f64 = 0.12;

/// All observations of one body's axis but its stem.
#[derive(Default)]
pub(super) struct AxisEvidence {
    image_axes: Vec<ImageAxis>,
    poles: Vec<Pole>,
}

/// An `axis_px`: the image of the axis points this way.
struct ImageAxis {
    /// Takes a direction of the orchard frame to its image on the plane z = 1 (but for a positive factor).
    image_of: Matrix2x3<f64>,
    seen: Vector2<f64>,
}

/// A calyx box: the calyx end appears here, and faces the camera.
struct Pole {
    p_in_camera: Vector3<f64>,
    turn: Matrix3<f64>,
    shift: Vector2<f64>,
    seen: Vector2<f64>,
    sigma: f64,
    reach_m: f64,
}

/// Deviations with which evidence is weighed.
#[derive(Clone, Copy)]
pub(super) struct AxisNoise {
    /// Of an image axis, radians.
    pub(super) image_axis_rad: f64,
    /// Further deviation of the direction that is asked about, radians.
    pub(super) slack_rad: f64,
}

impl AxisEvidence {
    /// Nothing known.
    pub(super) fn is_empty(&self) -> bool {
        self.image_axes.is_empty() && self.poles.is_empty()
    }

    /// How many observations there are.
    pub(super) fn len(&self) -> usize {
        self.image_axes.len() + self.poles.len()
    }

    /// How many calyx boxes there are.
    pub(super) fn poles(&self) -> usize {
        self.poles.len()
    }

    /// Takes in the image axis of a sight.
    pub(super) fn add_image_axis(&mut self, sight: &Sight, image: &Image) {
        let Some(seen) = sight.image_axis else { return };
        let p = &sight.p_in_camera;
        let (x, y) = (p.x / p.z, p.y / p.z);
        let (r0, r1, r2) = (image.turn.row(0), image.turn.row(1), image.turn.row(2));
        let image_of = Matrix2x3::from_rows(&[r0 - r2 * x, r1 - r2 * y]);
        self.image_axes.push(ImageAxis { image_of, seen });
    }

    /// Takes in a calyx box given to the body.
    pub(super) fn add_pole(
        &mut self,
        sight: &Sight,
        image: &Image,
        seen: Vector2<f64>,
        radius_m: f64,
        config: &PartsConfig,
    ) {
        let z = sight.p_in_camera.z;
        let shape = SHAPE * radius_m / z;
        let sigma = (0.5 * image.edge.powi(2) + sight.local.powi(2) + shape * shape)
            .sqrt()
            .max(1e-9);
        self.poles.push(Pole {
            p_in_camera: sight.p_in_camera,
            turn: image.turn,
            shift: sight.shift,
            seen,
            sigma,
            reach_m: radius_m * config.length_over_diameter,
        });
    }

    /// Negative log-likelihood of axis `a` (unit, orchard frame), each observation's share bounded.
    pub(super) fn loss(&self, a: &Vector3<f64>, noise: AxisNoise) -> f64 {
        self.image_axis_loss(a, noise) + self.pole_loss(a, noise)
    }

    /// The image axes' share of [`AxisEvidence::loss`].
    pub(super) fn image_axis_loss(&self, a: &Vector3<f64>, noise: AxisNoise) -> f64 {
        let variance = noise.image_axis_rad.powi(2) + noise.slack_rad.powi(2);
        let losses = self
            .image_axes
            .iter()
            .map(|o| bounded((1.0 - o.cosine(a)) / variance).0);
        losses.sum()
    }

    /// The calyx boxes' share of [`AxisEvidence::loss`].
    pub(super) fn pole_loss(&self, a: &Vector3<f64>, noise: AxisNoise) -> f64 {
        self.poles.iter().map(|o| o.loss(a, noise.slack_rad)).sum()
    }

    /// Angles between `a` as the images should show it and as they do, radians.
    pub(super) fn image_angles<'a>(
        &'a self,
        a: &'a Vector3<f64>,
    ) -> impl Iterator<Item = f64> + 'a {
        self.image_axes.iter().map(move |o| o.angle(a))
    }

    /// Residuals in standard deviations with their weights, for least squares.
    pub(super) fn residuals(&self, a: &Vector3<f64>, noise: AxisNoise, out: &mut Vec<(f64, f64)>) {
        for o in &self.image_axes {
            let e = o.chord(a) / noise.image_axis_rad;
            out.push((e, bounded(0.5 * e * e).1));
        }
        for o in &self.poles {
            let e = (o.predict(a).0 - o.seen) / o.sigma;
            let weight = bounded(0.5 * e.norm_squared()).1;
            out.push((e.x, weight));
            out.push((e.y, weight));
        }
    }
}

impl ImageAxis {
    fn cosine(&self, a: &Vector3<f64>) -> f64 {
        let v = self.image_of * a;
        v.dot(&self.seen) / v.norm().max(1e-6)
    }

    /// The angle as twice the sine of its half, signed, whose square is what the loss counts.
    fn chord(&self, a: &Vector3<f64>) -> f64 {
        let v = self.image_of * a;
        let off = 2.0 - 2.0 * v.dot(&self.seen) / v.norm().max(1e-6);
        off.max(0.0)
            .sqrt()
            .copysign(v.x * self.seen.y - v.y * self.seen.x)
    }

    fn angle(&self, a: &Vector3<f64>) -> f64 {
        let v = self.image_of * a;
        (v.x * self.seen.y - v.y * self.seen.x).atan2(v.dot(&self.seen))
    }
}

impl Pole {
    /// Where the calyx end appears, and the cosine of its angle to the line of sight.
    fn predict(&self, a: &Vector3<f64>) -> (Vector2<f64>, f64) {
        let turned = self.turn * a;
        let q = self.p_in_camera + turned * self.reach_m;
        (
            Vector2::new(q.x / q.z, q.y / q.z) + self.shift,
            -turned.dot(&q) / q.norm().max(1e-9),
        )
    }

    fn loss(&self, a: &Vector3<f64>, slack_rad: f64) -> f64 {
        let (at, facing) = self.predict(a);
        let slack = slack_rad * self.reach_m / self.p_in_camera.z;
        let away =
            (at - self.seen).norm_squared() / (2.0 * (self.sigma * self.sigma + slack * slack));
        let turned_off = ((FACING - facing) / FACING_SOFT).max(0.0);
        bounded(away + turned_off * turned_off).0
    }
}

/// A loss that approaches [`LARGEST_LOSS`], and its slope (the weight of a least squares residual).
fn bounded(loss: f64) -> (f64, f64) {
    let k = 1.0 / (1.0 + loss / LARGEST_LOSS);
    (loss * k, k * k)
}

/// `n` directions spread evenly over the sphere: Fibonacci's spiral.
pub(super) fn sphere_points(n: usize) -> Vec<Vector3<f64>> {
    let golden = std::f64::consts::PI * (3.0 - 5f64.sqrt());
    // a few hundred
    let at = |i: usize| {
        let z = 1.0 - (2.0 * i as f64 + 1.0) / n as f64;
        let across = (1.0 - z * z).sqrt();
        let (sin, cos) = (golden * i as f64).sin_cos();
        Vector3::new(across * cos, across * sin, z)
    };
    (0..n).map(at).collect()
}
