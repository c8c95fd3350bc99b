//! Scenes and helpers of the tests.

use corymb_model::run::{Camera, Class, Distortion};
use corymb_simulate::{SceneSpec, Simulated, simulate};
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// A run, or the reason why the test has none.
pub(crate) fn run(spec: &SceneSpec, seed: u64) -> Simulated {
    simulate(spec, seed).unwrap_or_else(|e| panic!("{e}"))
}

/// A tree with few limbs seen from few places.
pub(crate) fn small(base: SceneSpec) -> SceneSpec {
    let mut s = base;
    s.orchard.trees_per_row = 1;
    s.orchard.limbs_per_tree = [4, 4];
    s.passes.iter_mut().for_each(|p| p.exposures = 4);
    s
}

/// Boxes by image, true body and class; `None` where one occurs twice.
pub(crate) fn boxes(s: &Simulated) -> BTreeMap<(String, usize, Class), [f64; 4]> {
    let mut found = BTreeMap::new();
    for frame in &s.run.frames {
        for (d, label) in frame.detections.iter().zip(&s.truth.detections[&frame.id]) {
            if let Some(k) = label {
                found.insert((frame.id.clone(), *k, d.class), d.box_px);
            }
        }
    }
    found
}

/// Everything of a run as text, for equality to the last bit.
pub(crate) fn text(s: &Simulated) -> String {
    format!("{s:?}")
}

/// The projection once more, written from the message's definition.
pub(crate) fn project(c: &Camera, p: &Vector3<f64>) -> [f64; 2] {
    let (x, y) = (p.x / p.z, p.y / p.z);
    let r2 = x * x + y * y;
    let (gain, p1, p2) = match c.distortion {
        Distortion::None => (1.0, 0.0, 0.0),
        Distortion::PlumbBob([k1, k2, p1, p2, k3]) => {
            (1.0 + k1 * r2 + k2 * r2.powi(2) + k3 * r2.powi(3), p1, p2)
        }
        Distortion::RationalPolynomial([k1, k2, p1, p2, k3, k4, k5, k6]) => {
            let above = 1.0 + k1 * r2 + k2 * r2.powi(2) + k3 * r2.powi(3);
            (
                above / (1.0 + k4 * r2 + k5 * r2.powi(2) + k6 * r2.powi(3)),
                p1,
                p2,
            )
        }
        Distortion::Equidistant([k1, k2, k3, k4]) => {
            let t = r2.sqrt().atan();
            let bent = t + k1 * t.powi(3) + k2 * t.powi(5) + k3 * t.powi(7) + k4 * t.powi(9);
            (if r2 > 0.0 { bent / r2.sqrt() } else { 1.0 }, 0.0, 0.0)
        }
    };
    let xd = x * gain + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x);
    let yd = y * gain + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y;
    [
        c.focal_px[0] * xd + c.principal_px[0],
        c.focal_px[1] * yd + c.principal_px[1],
    ]
}

/// Mean and standard deviation.
pub(crate) fn moments(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    (mean, (square / (n - 1.0)).sqrt())
}
