//! 95 % intervals by resampling whole units.
//!
//! Sources: B. Efron and R. J. Tibshirani, "An Introduction to the Bootstrap" (1993), sec. 13.3, the percentile
//! interval; A. C. Davison and D. V. Hinkley, "Bootstrap Methods and their Application" (1997), sec. 3.8, whole clusters
//! of dependent data as what is drawn. With few units such intervals are somewhat too narrow: the tests show by how much.

use crate::figure::quantile;
use crate::headline::{HEADLINES, Headline};
use crate::rows::{Placement, Rows, Tally, UnitKind, UnitRow};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde::Serialize;

/// Seed of every resampling: the same rows give the same intervals.
pub const BOOTSTRAP_SEED: u64 = 1993;
/// Resamples of each interval; Efron and Tibshirani (1993), sec. 14.2, ask for about 1000 for percentiles.
pub const RESAMPLES: usize = 1000;
/// Largest share of resamples in which a figure may be undefined before its interval is given up.
const UNDEFINED_SHARE: f64 = 0.05;
/// Why a figure that only trees have has no interval over clusters.
const OF_TREES: &str = "it goes by trees, and clusters are drawn";
/// Ends of the interval.
const ENDS: (f64, f64) = (0.025, 0.975);

/// Intervals of the headline figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Intervals {
    /// How the map lies for the figures that depend on places.
    pub placement: Placement,
    /// What is resampled; `null` where there are too few units.
    pub unit: Option<UnitKind>,
    /// How many there are.
    pub units: usize,
    /// Resamples drawn.
    pub resamples: usize,
    /// The seed they are drawn from.
    pub seed: u64,
    /// The figures.
    pub figures: Vec<Interval>,
}

/// A figure with its interval over units.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Interval {
    /// Part of the score.
    pub part: &'static str,
    /// Name of the figure.
    pub figure: &'static str,
    /// What stands above the line; for a root, under the root.
    pub num: f64,
    /// What stands below the line.
    pub den: f64,
    /// The figure.
    pub value: Option<f64>,
    /// Lower end of the 95 % percentile interval.
    pub low: Option<f64>,
    /// Upper end of it.
    pub high: Option<f64>,
    /// Units with something below the line.
    pub n: usize,
    /// Why there is no value or no interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// The intervals of all headline figures. O(resamples x units).
#[must_use]
pub fn intervals(rows: &Rows) -> Intervals {
    let drawn = rows.units();
    let (unit, units, why_not) = match &drawn {
        Ok((kind, units)) => (Some(*kind), *units, None),
        Err(why) => (None, rows.trees.as_slice(), Some(why.as_str())),
    };
    let totals: Vec<Tally> = match unit {
        Some(_) => resamples(units.len(), RESAMPLES)
            .map(|picked| sum(picked.iter().filter_map(|&u| units.get(u))))
            .collect(),
        None => Vec::new(),
    };
    // trees carry figures that clusters do not
    let whole = sum(&rows.trees);
    let figure = |headline: &Headline| {
        let of_trees = headline.of_trees && unit == Some(UnitKind::Cluster);
        let why_not = why_not.or(of_trees.then_some(OF_TREES));
        interval(headline, &whole, units, &totals, why_not)
    };
    Intervals {
        placement: rows.placement,
        unit,
        units: units.len(),
        resamples: totals.len(),
        seed: BOOTSTRAP_SEED,
        figures: HEADLINES.iter().map(figure).collect(),
    }
}

fn interval(
    headline: &Headline,
    whole: &Tally,
    units: &[UnitRow],
    totals: &[Tally],
    why_not: Option<&str>,
) -> Interval {
    let (num, den) = (headline.quotient)(whole);
    let value = headline.of(whole);
    let values: Vec<f64> = totals.iter().filter_map(|t| headline.of(t)).collect();
    let ends = percentile_interval(values, totals.len());
    let undefined = || "it is undefined in too many resamples".to_owned();
    let reason = match (value, why_not, ends) {
        (None, ..) => Some("nothing to form it from".to_owned()),
        (_, Some(why), _) => Some(why.to_owned()),
        (_, None, None) => Some(undefined()),
        (_, None, Some(_)) => None,
    };
    let ends = ends.filter(|_| reason.is_none());
    Interval {
        part: headline.part,
        figure: headline.figure,
        num,
        den,
        value,
        low: ends.map(|e| e.0),
        high: ends.map(|e| e.1),
        n: units
            .iter()
            .filter(|u| (headline.quotient)(&u.tally).1 > 0.0)
            .count(),
        reason,
    }
}

/// The ends between which the middle 95 % of the values lie; `None` where more than a twentieth of the `drawn` is
/// undefined.
#[must_use]
pub fn percentile_interval(mut values: Vec<f64>, drawn: usize) -> Option<(f64, f64)> {
    let undefined = drawn.saturating_sub(values.len());
    if undefined as f64 > UNDEFINED_SHARE * drawn as f64 {
        return None;
    }
    values.sort_by(f64::total_cmp);
    Some((quantile(&values, ENDS.0)?, quantile(&values, ENDS.1)?))
}

/// Sum of the tallies of units.
pub(crate) fn sum<'u>(units: impl IntoIterator<Item = &'u UnitRow>) -> Tally {
    let mut total = Tally::default();
    for unit in units {
        total += &unit.tally;
    }
    total
}

/// `count` draws of `n` of `n` units with replacement, always the same; none where there are no units.
pub fn resamples(n: usize, count: usize) -> impl Iterator<Item = Vec<usize>> {
    let mut rng = ChaCha8Rng::seed_from_u64(BOOTSTRAP_SEED);
    (0..if n == 0 { 0 } else { count }).map(move |_| (0..n).map(|_| below(&mut rng, n)).collect())
}

/// A whole number from 0 to `n - 1`: the high half of a 64 x 64 bit product (D. Lemire, "Fast random integer
/// generation in an interval", ACM TOMACS 29 (2019)); its bias of `n` / 2^64 is left as it is.
fn below(rng: &mut ChaCha8Rng, n: usize) -> usize {
    // less than n
    ((u128::from(rng.next_u64()) * n as u128) >> 64) as usize
}
