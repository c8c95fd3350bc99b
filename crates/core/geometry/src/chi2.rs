//! Chi-square gates.

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF};

/// Newton steps that polish the library's quantile, which stops at an absolute error of about 1e-11.
const POLISH_STEPS: usize = 4;

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
        polish(&distribution, p)
    }
}

/// Newton on the tail that is the smaller one, so that no digits are lost to 1 - p.
fn polish(distribution: &ChiSquared, p: f64) -> f64 {
    let mut x = distribution.inverse_cdf(p);
    for _ in 0..POLISH_STEPS {
        let too_far = if p < 0.5 {
            distribution.cdf(x) - p
        } else {
            (1.0 - p) - distribution.sf(x)
        };
        let next = x - too_far / distribution.pdf(x);
        if !(next.is_finite() && next > 0.0) || next == x {
            break;
        }
        x = next;
    }
    x
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
