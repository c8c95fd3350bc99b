//! Medians and robust spreads.

use corymb_model::diagnostics::Spread;

/// Standard deviations of a normal variable in one median absolute deviation.
const NORMAL: f64 = 1.482_6;

/// Median of `values` (the upper one of an even number) and robust standard deviation. O(values).
pub(super) fn spread(values: &mut [f64]) -> Spread {
    let Some(median) = median(values) else {
        return Spread::default();
    };
    for v in values.iter_mut() {
        *v = (*v - median).abs();
    }
    Spread {
        median_px: Some(median),
        spread_px: self::median(values).map(|d| d * NORMAL),
    }
}

fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_gross_error_moves_nothing() {
        let s = spread(&mut [1.0, 2.0, 3.0, 4.0, 1e6]);
        assert_eq!(s.median_px, Some(3.0));
        assert!((s.spread_px.unwrap() - NORMAL).abs() < 1e-12);
        assert_eq!(spread(&mut []), Spread::default());
    }
}
