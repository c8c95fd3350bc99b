//! Cameras, stored outside values and numeric helpers that the tests share.

use corymb_geometry::Lens;
use corymb_model::Pose;
use corymb_model::run::{Camera, Distortion};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use serde::de::DeserializeOwned;
use std::path::Path;

/// The values in `fixtures/reference/NAME`.
pub(crate) fn reference<T: DeserializeOwned>(name: &str) -> T {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../../fixtures/reference")
        .join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap()
}

/// A camera of 1280 x 960 at f = 1,000 px, principal point in the middle.
pub(crate) fn camera(distortion: Distortion) -> Camera {
    Camera {
        id: "c".into(),
        width_px: 1280,
        height_px: 960,
        focal_px: [1000.0, 1000.0],
        principal_px: [640.0, 480.0],
        distortion,
        rig_from_camera: Pose::identity(),
    }
}

pub(crate) fn ideal() -> Lens {
    Lens::new(&camera(Distortion::None))
}

/// One of each model, as calibrations give them.
pub(crate) fn typical_distortions() -> [Distortion; 5] {
    [
        Distortion::None,
        Distortion::PlumbBob([-0.2887, 0.1831, 0.00245, 0.00082, 0.0]),
        Distortion::PlumbBob([0.12, -0.05, -0.001, 0.0015, 0.02]),
        Distortion::RationalPolynomial([0.4, -0.2, 0.0006, -0.0003, 0.01, 0.72, -0.1, 0.02]),
        Distortion::Equidistant([-0.0126, 0.0089, -0.0061, 0.0012]),
    ]
}

/// Lenses about those of calibrations, some of which fold back within the image.
pub(crate) fn distortion() -> impl Strategy<Value = Distortion> {
    let k = -0.4..0.4f64;
    let p = -0.003..0.003f64;
    prop_oneof![
        1 => Just(Distortion::None),
        4 => (k.clone(), -0.2..0.2f64, p.clone(), p.clone(), -0.05..0.05f64)
            .prop_map(|(a, b, c, d, e)| Distortion::PlumbBob([a, b, c, d, e])),
        4 => (k.clone(), -0.2..0.2f64, p.clone(), p, -0.05..0.05f64, k, -0.2..0.2f64, -0.05..0.05f64)
            .prop_map(|(a, b, c, d, e, f, g, h)| Distortion::RationalPolynomial([a, b, c, d, e, f, g, h])),
        4 => prop::array::uniform4(-0.05..0.05f64).prop_map(Distortion::Equidistant),
    ]
}

/// Derivative by central differences with step `h`, error about h^2.
pub(crate) fn numeric_jacobian(
    f: impl Fn(&DVector<f64>) -> DVector<f64>,
    x: &[f64],
    h: f64,
) -> DMatrix<f64> {
    let x = DVector::from_column_slice(x);
    let columns: Vec<DVector<f64>> = (0..x.len())
        .map(|i| {
            let (mut up, mut down) = (x.clone(), x.clone());
            up[i] += h;
            down[i] -= h;
            (f(&up) - f(&down)) / (2.0 * h)
        })
        .collect();
    DMatrix::from_columns(&columns)
}

/// Largest difference relative to the largest entry (at least one).
pub(crate) fn relative_gap(a: &DMatrix<f64>, b: &DMatrix<f64>) -> f64 {
    (a - b).amax() / b.amax().max(1.0)
}
