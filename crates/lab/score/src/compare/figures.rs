//! Figure by figure: both values, the difference with its interval, the test.

use crate::bootstrap::{RESAMPLES, percentile_interval, resamples};
use crate::compare::permutation::{Exchange, UnitPair, exchange_test};
use crate::headline::{Better, HEADLINES, Headline};
use crate::rows::{LEAST_UNITS, Tally, UnitKind};

/// A figure of two variants, over the units in both.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Part of the score.
    pub part: &'static str,
    /// Name of the figure.
    pub figure: &'static str,
    /// Which way it is better.
    pub better: Better,
    /// Of the first variant.
    pub first: Option<f64>,
    /// Of the other.
    pub other: Option<f64>,
    /// Other minus first.
    pub difference: Option<f64>,
    /// Lower end of the 95 % percentile interval of the difference, pairs of units drawn again.
    pub low: Option<f64>,
    /// Upper end of it.
    pub high: Option<f64>,
    /// The paired permutation test.
    pub test: Option<Exchange>,
    /// Its p value after the step-down correction for all figures tested here.
    pub p_all: Option<f64>,
    /// Units with something below the line on both sides.
    pub n: usize,
    /// Why something is undefined.
    pub reason: Option<&'static str>,
}

/// Why a figure that only trees have is not compared over clusters.
const OF_TREES: &str = "it goes by trees, and clusters are paired";

/// The differences of all headline figures over pairs of units (first, other).
#[must_use]
pub fn differences(unit: UnitKind, pairs: &[(Tally, Tally)]) -> Vec<Difference> {
    let drawn: Vec<Vec<usize>> = resamples(pairs.len(), RESAMPLES).collect();
    let mut figures: Vec<Difference> = HEADLINES
        .iter()
        .map(|headline| difference(headline, pairs, &drawn))
        .collect();
    for (headline, figure) in HEADLINES.iter().zip(&mut figures) {
        if headline.of_trees && unit == UnitKind::Cluster {
            figure.reason = Some(OF_TREES);
        }
    }
    correct_for_many(&mut figures);
    figures
}

fn difference(headline: &Headline, pairs: &[(Tally, Tally)], drawn: &[Vec<usize>]) -> Difference {
    let units: Vec<UnitPair> = pairs
        .iter()
        .map(|(one, two)| [(headline.quotient)(one), (headline.quotient)(two)])
        .collect();
    let value = |side: usize, picked: &mut dyn Iterator<Item = &UnitPair>| {
        let add = |sum: (f64, f64), unit: &UnitPair| (sum.0 + unit[side].0, sum.1 + unit[side].1);
        headline.value(picked.fold((0.0, 0.0), add))
    };
    let [first, other] = [0, 1].map(|side| value(side, &mut units.iter()));
    let n = units
        .iter()
        .filter(|u| u[0].1 > 0.0 && u[1].1 > 0.0)
        .count();
    let enough = first.is_some() && other.is_some() && n >= LEAST_UNITS;
    let (mut ends, mut test) = (None, None);
    if enough {
        let again = |picked: &Vec<usize>| {
            let of = |side| value(side, &mut picked.iter().filter_map(|&u| units.get(u)));
            Some(of(1)? - of(0)?)
        };
        ends = percentile_interval(drawn.iter().filter_map(again).collect(), drawn.len());
        test = exchange_test(&units, |sums| headline.value(sums));
    }
    Difference {
        part: headline.part,
        figure: headline.figure,
        better: headline.better,
        first,
        other,
        difference: other.zip(first).map(|(b, a)| b - a),
        low: ends.map(|e| e.0),
        high: ends.map(|e| e.1),
        test,
        p_all: None,
        n,
        reason: reason(first, other, enough, ends.is_some()),
    }
}

fn reason(
    first: Option<f64>,
    other: Option<f64>,
    enough: bool,
    ends: bool,
) -> Option<&'static str> {
    match (first, other) {
        (None, None) => Some("neither has it"),
        (None, _) => Some("the first has none"),
        (_, None) => Some("the other has none"),
        _ if !enough => Some("fewer than five units have it on both sides"),
        _ if !ends => Some("it is undefined in too many resamples"),
        _ => None,
    }
}

/// S. Holm, "A simple sequentially rejective multiple test procedure", Scandinavian Journal of Statistics 6 (1979).
fn correct_for_many(figures: &mut [Difference]) {
    let mut tested: Vec<(f64, usize)> = figures
        .iter()
        .enumerate()
        .filter_map(|(at, f)| Some((f.test?.p, at)))
        .collect();
    tested.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let (count, mut so_far) = (tested.len(), 0.0_f64);
    for (rank, (p, at)) in tested.into_iter().enumerate() {
        so_far = so_far.max(p * (count - rank) as f64).min(1.0);
        if let Some(figure) = figures.get_mut(at) {
            figure.p_all = Some(so_far);
        }
    }
}
