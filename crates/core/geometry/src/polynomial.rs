//! Real roots of small polynomials, by isolating them between the roots of the derivative.

/// Bisections that bring any bracket of doubles down to neighbours.
const BISECTIONS: usize = 1_100;

/// The value at `x` of the polynomial with the coefficients `c`, lowest power first.
pub(crate) fn value(c: &[f64], x: f64) -> f64 {
    c.iter().rev().fold(0.0, |sum, k| sum * x + k)
}

/// Where the polynomial changes sign in the open interval (`low`, `high`), ascending. A root that it only touches
/// is left out. O(degree^2) bisections.
pub(crate) fn sign_changes(c: &[f64], low: f64, high: f64) -> Vec<f64> {
    let degree = c.iter().rposition(|k| *k != 0.0).unwrap_or(0);
    if degree == 0 {
        return Vec::new();
    }
    let derivative: Vec<f64> = c
        .iter()
        .enumerate()
        .skip(1)
        .take(degree)
        .map(|(i, k)| k * i as f64)
        .collect();
    let mut knots = vec![low];
    knots.extend(sign_changes(&derivative, low, high));
    knots.push(high);
    let mut roots = Vec::new();
    for (a, b) in knots.iter().zip(knots.iter().skip(1)) {
        let (at_a, at_b) = (value(c, *a), value(c, *b));
        if at_a * at_b < 0.0 || (at_b == 0.0 && at_a != 0.0 && *b < high) {
            roots.push(bisect(c, *a, *b));
        }
    }
    roots
}

/// The root in a bracket on which the polynomial is monotonic.
fn bisect(c: &[f64], mut low: f64, mut high: f64) -> f64 {
    let rising = value(c, low) < value(c, high);
    for _ in 0..BISECTIONS {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if (value(c, middle) < 0.0) == rising {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// The product of two polynomials.
pub(crate) fn product(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; (a.len() + b.len()).saturating_sub(1)];
    for (i, x) in a.iter().enumerate() {
        for (slot, y) in out.iter_mut().skip(i).zip(b) {
            *slot += x * y;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn finds_the_roots_of_a_cubic_in_the_interval_only() {
        // (x - 1)(x - 2)(x - 5) = x^3 - 8 x^2 + 17 x - 10
        let c = [-10.0, 17.0, -8.0, 1.0];
        let roots = sign_changes(&c, 0.0, 4.0);
        assert_eq!(roots.len(), 2);
        assert!(
            (roots[0] - 1.0).abs() < 1e-12 && (roots[1] - 2.0).abs() < 1e-12,
            "{roots:?}"
        );
    }

    #[test]
    fn a_touching_root_is_no_sign_change() {
        assert!(sign_changes(&[1.0, -2.0, 1.0], 0.0, 3.0).len() <= 1);
        assert!(sign_changes(&[1.0, 0.0, 1.0], -3.0, 3.0).is_empty());
        assert!(sign_changes(&[2.0], -3.0, 3.0).is_empty());
        assert!(sign_changes(&[], -3.0, 3.0).is_empty());
    }

    proptest! {
        #[test]
        fn recovers_well_separated_roots(gaps in prop::collection::vec(0.2f64..2.0, 1..6)) {
            let mut expected = Vec::new();
            let mut c = vec![1.0];
            let mut at = 0.0;
            for gap in gaps {
                at += gap;
                expected.push(at);
                c = product(&c, &[-at, 1.0]);
            }
            let found = sign_changes(&c, 0.0, 20.0);
            prop_assert_eq!(found.len(), expected.len());
            for (a, b) in found.iter().zip(&expected) {
                prop_assert!((a - b).abs() < 1e-7, "{} {}", a, b);
            }
        }
    }
}
