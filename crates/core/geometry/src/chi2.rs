//! Chi-square gates.

use statrs::distribution::{ChiSquared, ContinuousCDF};

/// The value that a chi-square variable of `dof` degrees of freedom does not exceed with probability `p`.
///
/// Zero where `p` <= 0 or `dof` is 0, infinite where `p` >= 1, not a number where `p` is none. About a microsecond:
/// compute a gate once.
#[must_use]
pub fn quantile(p: f64, dof: usize) -> f64 {
    if p.is_nan() {
        return f64::NAN;
    }
    let Ok(distribution) = ChiSquared::new(dof as f64) else {
        return 0.0;
    };
    if p <= 0.0 {
        0.0
    } else if p >= 1.0 {
        f64::INFINITY
    } else {
        distribution.inverse_cdf(p)
    }
}

/// The probability that a chi-square variable of `dof` degrees of freedom exceeds `x`, with all its digits in the
/// tail.
#[must_use]
pub fn exceedance(x: f64, dof: usize) -> f64 {
    match ChiSquared::new(dof as f64) {
        Ok(distribution) => distribution.sf(x.max(0.0)),
        Err(_) => {
            if x < 0.0 {
                1.0
            } else {
                0.0
            }
        }
    }
}
