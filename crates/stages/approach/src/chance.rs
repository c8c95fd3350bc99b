//! Probabilities of margins under normal errors, as logarithms.

use nalgebra::Vector3;
use statrs::function::erf::{erfc, erfc_inv};
use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};
use std::sync::LazyLock;

/// A margin of this many standard deviations counts as certain: what is left out is under 4e-6.
pub(crate) const SURE: f64 = 4.5;

/// ln of a probability that counts as none.
pub(crate) const RARE: f64 = -SURE * SURE;

/// The table of [`ln_normal`] reaches from here to [`SURE`].
const TABLE_FROM: f64 = -9.0;
/// Entries a unit of the table; the error of the interpolation is under 1e-9.
const TABLE_DENSITY: f64 = 64.0;

/// Values and slopes of ln of the normal distribution function, already times the step.
static TABLE: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let end = ((SURE - TABLE_FROM) * TABLE_DENSITY).ceil();
    let mut table = Vec::new();
    let mut k = 0.0;
    while k <= end + 1.0 {
        let z = TABLE_FROM + k / TABLE_DENSITY;
        let ln = ln_normal_directly(z);
        let slope = (-0.5 * z * z - ln).exp() / (2.0 * PI).sqrt();
        table.push([ln, slope / TABLE_DENSITY]);
        k += 1.0;
    }
    table
});

/// ln of the standard normal distribution function at `z`: 0 beyond `SURE`, and from a table with cubic
/// interpolation in the middle, because it is asked for millions of times.
#[must_use]
pub fn ln_normal(z: f64) -> f64 {
    if z > SURE {
        return 0.0;
    }
    if z > TABLE_FROM {
        let place = (z - TABLE_FROM) * TABLE_DENSITY;
        // positive and small
        let k = place as usize;
        if let Some([[a, da], [b, db]]) = TABLE.get(k..k + 2) {
            // small
            let t = place - k as f64;
            let u = 1.0 - t;
            return u * u * ((1.0 + 2.0 * t) * a + t * da) + t * t * ((1.0 + 2.0 * u) * b - u * db);
        }
    }
    ln_normal_directly(z)
}

/// Far below 0, where the tail itself underflows, by the first levels of its continued fraction (Abramowitz and Stegun
/// 26.2.14).
fn ln_normal_directly(z: f64) -> f64 {
    if z > TABLE_FROM {
        return (0.5 * erfc(-z * FRAC_1_SQRT_2)).ln();
    }
    if z == f64::NEG_INFINITY {
        return z;
    }
    let mut fraction = -z;
    for k in LEVELS {
        fraction = k / fraction - z;
    }
    -0.5 * z * z - (fraction * SQRT_2 * PI.sqrt()).ln()
}

/// Levels of the continued fraction from its end; what is left out at -9 is under 1e-9.
const LEVELS: [f64; 8] = [8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0];

/// ln of the probability that a point at `offset` from the middle of a disc of `radius` lies within it under a normal
/// error of standard deviation `sd` along both axes of the plane.
///
/// This is the noncentral chi-squared distribution with two degrees of freedom, by the approximation of M. Sankaran
/// (Biometrika 50, 1963), as a normal in a power of the argument: off by less than 0.016 everywhere.
#[must_use]
pub fn ln_in_disc(offset: f64, radius: f64, sd: f64) -> f64 {
    let spare = radius - offset;
    if radius <= 0.0 {
        return ln_normal(spare / sd) - std::f64::consts::LN_2;
    }
    if spare > SURE * sd {
        return 0.0;
    }
    let (x, lambda, k) = ((radius / sd).powi(2), (offset / sd).powi(2), 2.0);
    let h = 1.0 - 2.0 / 3.0 * (k + lambda) * (k + 3.0 * lambda) / (k + 2.0 * lambda).powi(2);
    let p = (k + 2.0 * lambda) / (k + lambda).powi(2);
    let m = (h - 1.0) * (1.0 - 3.0 * h);
    let centre = 1.0 + h * p * (h - 1.0 - 0.5 * (2.0 - h) * m * p);
    ln_normal(((x / (k + lambda)).powf(h) - centre) / (h * (2.0 * p).sqrt() * (1.0 + 0.5 * m * p)))
}

/// ln(1 - p) where `ln_p` is ln p; finite even where p rounds to 1.
#[must_use]
pub(crate) fn ln_not(ln_p: f64) -> f64 {
    if ln_p < RARE {
        0.0
    } else {
        (-ln_p.exp_m1()).max(1e-300).ln()
    }
}

/// Pairs of opposite points whose coordinates are spread as independent standard normals, always the same.
///
/// The additive recurrence on the powers of the inverse of the real root of x^4 = x + 1, moved by one half, through
/// the inverse of the normal distribution function: the error of a mean falls nearly as 1 / n.
#[must_use]
pub(crate) fn normal_points(pairs: usize) -> Vec<Vector3<f64>> {
    const ROOT: f64 = 1.220_744_084_605_759_5;
    // few points
    let quantile = |i: usize, power: i32| {
        let u = (0.5 + (i + 1) as f64 * ROOT.powi(-power)).fract();
        -SQRT_2 * erfc_inv(2.0 * u.clamp(1e-12, 1.0 - 1e-12))
    };
    let point = |i: usize| Vector3::new(quantile(i, 1), quantile(i, 2), quantile(i, 3));
    (0..pairs).map(point).flat_map(|p| [p, -p]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_tail_matches_tables() {
        // Abramowitz and Stegun, table 26.1: P(1) = 0.841344746, P(2) = 0.977249868.
        assert!((ln_normal(1.0).exp() - 0.841_344_746).abs() < 1e-9);
        assert!((ln_normal(-2.0).exp() - 0.022_750_132).abs() < 1e-9);
        // ln Q(40) = -804.608442 (table 26.2 gives -log10 Q = 349.43701).
        assert!((ln_normal(-40.0) / std::f64::consts::LN_10 + 349.437_01).abs() < 1e-3);
        assert!((ln_normal(-9.0 + 1e-12) - ln_normal(-9.0 - 1e-12)).abs() < 1e-8);
    }

    #[test]
    fn table_matches_the_function() {
        for k in -3500..700 {
            let z = f64::from(k) * 0.0101;
            let direct = if z > SURE {
                0.0
            } else {
                (0.5 * erfc(-z * FRAC_1_SQRT_2)).ln()
            };
            assert!((ln_normal(z) - direct).abs() < 1e-8, "{z}");
        }
        assert!(ln_normal(f64::NAN).is_nan());
        assert!(ln_normal(f64::NEG_INFINITY) == f64::NEG_INFINITY);
    }

    #[test]
    fn disc_matches_numeric_integration() {
        for offset in [0.0, 0.5, 1.0, 2.0, 5.0] {
            for radius in [0.3, 1.0, 2.0, 4.0, 7.0] {
                let n = 400;
                let mut inside = 0.0;
                let h = 2.0 * radius / f64::from(n);
                for i in 0..n {
                    let x = -radius + (f64::from(i) + 0.5) * h;
                    let half = (radius * radius - x * x).sqrt();
                    let across = ln_normal(half).exp() - ln_normal(-half).exp();
                    inside += h * across * (-0.5 * (x - offset).powi(2)).exp() / (2.0 * PI).sqrt();
                }
                let ours = ln_in_disc(offset, radius, 1.0).exp();
                assert!(
                    (ours - inside).abs() < 0.016,
                    "{offset} {radius}: {ours} {inside}"
                );
            }
        }
    }

    #[test]
    fn points_have_unit_moments() {
        let points = normal_points(256);
        let mean = points.iter().sum::<Vector3<f64>>() / 512.0;
        let second = points
            .iter()
            .map(|p| p.component_mul(p))
            .sum::<Vector3<f64>>()
            / 512.0;
        assert!(mean.norm() < 1e-12);
        assert!((second - Vector3::repeat(1.0)).norm() < 0.06);
    }
}
