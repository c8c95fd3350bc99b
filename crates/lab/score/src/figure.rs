//! The forms that a figure takes: a share with its counts, a single value, a spread, a reliability table.
//!
//! A figure that is not defined is `null` and says why; it is never a sentinel and never silently left out.

use serde::Serialize;

/// The 97.5 % quantile of the standard normal distribution, for two-sided 95 % intervals.
const Z_95: f64 = 1.959_963_984_540_054;

/// A share of cases, with its counts and its 95 % interval.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Share {
    /// Cases that count as right.
    pub num: usize,
    /// All cases.
    pub den: usize,
    /// `num / den`, 0 to 1.
    pub value: Option<f64>,
    /// Lower end of the 95 % Wilson interval.
    pub low: Option<f64>,
    /// Upper end of the 95 % Wilson interval.
    pub high: Option<f64>,
    /// Why there is no value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

impl Share {
    /// `num` of `den`; where `den` is zero the share is undefined because of `if_none`.
    #[must_use]
    pub fn new(num: usize, den: usize, if_none: &str) -> Self {
        match wilson(num, den) {
            Some((low, high)) => Self {
                num,
                den,
                value: Some(num as f64 / den as f64),
                low: Some(low),
                high: Some(high),
                reason: None,
            },
            None => Self {
                num,
                den,
                value: None,
                low: None,
                high: None,
                reason: Some(if_none.to_owned()),
            },
        }
    }

    /// The share of `true` among `cases`.
    #[must_use]
    pub fn of(cases: impl IntoIterator<Item = bool>, if_none: &str) -> Self {
        let (num, den) = cases.into_iter().fold((0, 0), |(num, den), right| {
            (num + usize::from(right), den + 1)
        });
        Self::new(num, den, if_none)
    }

    /// A share that cannot be formed at all.
    #[must_use]
    pub fn undefined(reason: &str) -> Self {
        Self::new(0, 0, reason)
    }
}

/// The two-sided 95 % score interval of `num` successes in `den` trials; `None` without trials.
///
/// Source: E. B. Wilson, "Probable inference, the law of succession, and statistical inference", JASA 22 (1927),
/// pp. 209-212, the two roots of (p' - p)^2 = z^2 p (1 - p) / n; without continuity correction.
#[must_use]
pub fn wilson(num: usize, den: usize) -> Option<(f64, f64)> {
    if den == 0 || num > den {
        return None;
    }
    let n = den as f64;
    let p = num as f64 / n;
    let z2 = Z_95 * Z_95;
    let centre = p + z2 / (2.0 * n);
    let half = Z_95 * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z2 / n;
    // the exact roots at the ends of the range are 0 and 1; rounding must not step over them
    let low = if num == 0 {
        0.0
    } else {
        ((centre - half) / scale).max(0.0)
    };
    let high = if num == den {
        1.0
    } else {
        ((centre + half) / scale).min(1.0)
    };
    Some((low, high))
}

/// A value that is not a share of independent cases (a harmonic mean, an index), with the number of cases behind it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// The value.
    pub value: Option<f64>,
    /// Cases that it rests on.
    pub n: usize,
    /// Why there is no value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

impl Figure {
    /// `value` from `n` cases; a value that is absent or not finite is undefined because of `if_none`.
    #[must_use]
    pub fn new(value: Option<f64>, n: usize, if_none: &str) -> Self {
        let value = value.filter(|v| v.is_finite());
        let reason = value.is_none().then(|| if_none.to_owned());
        Self { value, n, reason }
    }

    /// `num / den`, undefined where `den` is not positive.
    #[must_use]
    pub fn ratio(num: f64, den: f64, n: usize, if_none: &str) -> Self {
        Self::new((den > 0.0).then(|| num / den), n, if_none)
    }
}

/// How values are spread. Quantiles interpolate linearly between order statistics (type 7 of Hyndman and Fan,
/// "Sample quantiles in statistical packages", The American Statistician 50 (1996)).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spread {
    /// Number of values.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: Option<f64>,
    /// Median.
    pub median: Option<f64>,
    /// 90 % quantile.
    pub p90: Option<f64>,
    /// 95 % quantile.
    pub p95: Option<f64>,
    /// Largest value.
    pub max: Option<f64>,
    /// Why there are no values.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

impl Spread {
    /// The spread of `values`, undefined because of `if_none` where there are none. O(n log n).
    #[must_use]
    pub fn of(mut values: Vec<f64>, if_none: &str) -> Self {
        values.sort_by(f64::total_cmp);
        let n = values.len();
        Self {
            n,
            mean: (n > 0).then(|| values.iter().sum::<f64>() / n as f64),
            median: quantile(&values, 0.5),
            p90: quantile(&values, 0.9),
            p95: quantile(&values, 0.95),
            max: values.last().copied(),
            reason: (n == 0).then(|| if_none.to_owned()),
        }
    }
}

/// The `q` quantile of ascending values, linearly interpolated; `None` where there are none.
#[must_use]
pub fn quantile(ascending: &[f64], q: f64) -> Option<f64> {
    let last = ascending.len().checked_sub(1)?;
    let at = q.clamp(0.0, 1.0) * last as f64;
    // 0 <= at <= last
    let below = at.floor() as usize;
    let low = *ascending.get(below)?;
    let high = *ascending.get((below + 1).min(last))?;
    Some(low + (high - low) * (at - below as f64))
}

/// Median of values in any order; `None` where there are none.
#[must_use]
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    quantile(&values, 0.5)
}

/// Stated probabilities against what came true.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reliability {
    /// Number of statements.
    pub n: usize,
    /// Mean squared difference between probability and outcome: G. W. Brier, "Verification of forecasts expressed in
    /// terms of probability", Monthly Weather Review 78 (1950); 0 is perfect, 0.25 is what 0.5 for everything gets.
    pub brier: Option<f64>,
    /// Mean of |stated - came true| over the bins, weighted by their counts.
    pub calibration_error: Option<f64>,
    /// Mean probability stated.
    pub stated: Option<f64>,
    /// How many of the statements came true.
    pub came_true: Share,
    /// Ten bins of equal width, without the empty ones.
    pub bins: Vec<ReliabilityBin>,
    /// Why there are no values.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// The statements within a tenth of probability.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReliabilityBin {
    /// Lower bound, included.
    pub from: f64,
    /// Upper bound, excluded but for 1.
    pub to: f64,
    /// Mean probability stated.
    pub stated: f64,
    /// How many came true.
    pub came_true: Share,
}

/// Number of bins of a reliability table.
const BINS: usize = 10;

impl Reliability {
    /// From pairs of stated probability and outcome; undefined because of `if_none` where there are none.
    #[must_use]
    pub fn of(statements: &[(f64, bool)], if_none: &str) -> Self {
        let n = statements.len();
        let mean = |sum: f64| (n > 0).then(|| sum / n as f64);
        let bins: Vec<ReliabilityBin> = (0..BINS)
            .filter_map(|bin| reliability_bin(statements, bin))
            .collect();
        let gap = |b: &ReliabilityBin| {
            b.came_true.den as f64
                * (b.stated - b.came_true.num as f64 / b.came_true.den as f64).abs()
        };
        Self {
            n,
            brier: mean(
                statements
                    .iter()
                    .map(|&(p, hit)| (p - f64::from(u8::from(hit))).powi(2))
                    .sum(),
            ),
            calibration_error: mean(bins.iter().map(gap).sum()),
            stated: mean(statements.iter().map(|&(p, _)| p).sum()),
            came_true: Share::of(statements.iter().map(|&(_, hit)| hit), if_none),
            bins,
            reason: (n == 0).then(|| if_none.to_owned()),
        }
    }
}

fn reliability_bin(statements: &[(f64, bool)], bin: usize) -> Option<ReliabilityBin> {
    // clamped to 0 .. BINS - 1
    let bin_of = |p: f64| (p * BINS as f64).clamp(0.0, BINS as f64 - 1.0) as usize;
    let inside: Vec<(f64, bool)> = statements
        .iter()
        .copied()
        .filter(|&(p, _)| bin_of(p) == bin)
        .collect();
    (!inside.is_empty()).then(|| ReliabilityBin {
        from: bin as f64 / BINS as f64,
        to: (bin + 1) as f64 / BINS as f64,
        stated: inside.iter().map(|&(p, _)| p).sum::<f64>() / inside.len() as f64,
        came_true: Share::of(inside.iter().map(|&(_, hit)| hit), ""),
    })
}
