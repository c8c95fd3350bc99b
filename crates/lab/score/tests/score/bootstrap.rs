//! Intervals over units, against closed forms, enumeration and simulation.

use corymb_score::bootstrap::{RESAMPLES, intervals, percentile_interval, resamples};
use corymb_score::figure::quantile;
use corymb_score::headline::HEADLINES;
use corymb_score::rows::{LEAST_UNITS, Placement, Rows, Tally, UnitKind, UnitRow};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use std::collections::BTreeMap;

/// Uniform numbers from 0 to 1.
fn uniform(rng: &mut ChaCha8Rng) -> f64 {
    (rng.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

fn units(tallies: impl IntoIterator<Item = Tally>) -> Vec<UnitRow> {
    let named = |(n, tally)| UnitRow {
        unit: format!("unit-{n:03}"),
        tally,
    };
    tallies.into_iter().enumerate().map(named).collect()
}

fn rows(trees: Vec<UnitRow>, cluster_units: Vec<UnitRow>) -> Rows {
    Rows {
        placement: Placement::Absolute,
        trees,
        cluster_units,
        clusters: Vec::new(),
        frames: Vec::new(),
    }
}

/// A unit with one right fruitlet whose diameter is off by `error_mm`: the mean error is the plain mean.
fn one_fruitlet(error_mm: f64) -> Tally {
    Tally {
        fruit_right: 1,
        diameter_error_mm: error_mm,
        ..Tally::default()
    }
}

/// Value, lower and upper end of a figure.
fn figure(rows: &Rows, part: &str, name: &str) -> (Option<f64>, Option<f64>, Option<f64>) {
    let all = intervals(rows);
    let found = all
        .figures
        .iter()
        .find(|f| f.part == part && f.figure == name);
    let found = found.unwrap();
    (found.value, found.low, found.high)
}

fn mean_interval(values: &[f64], drawn: &[Vec<usize>]) -> (f64, f64) {
    let mean =
        |picked: &Vec<usize>| picked.iter().map(|&u| values[u]).sum::<f64>() / picked.len() as f64;
    percentile_interval(drawn.iter().map(mean).collect(), drawn.len()).unwrap()
}

/// The standard error of a mean under resampling is sqrt(sum (x - mean)^2) / n (Efron and Tibshirani 1993, eq. 5.12);
/// with 50 values the percentiles lie near mean -+ 1.96 of it.
#[test]
fn the_interval_of_a_mean_is_near_its_closed_form() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for round in 0..10 {
        let values: Vec<f64> = (0..50).map(|_| 3.0 * uniform(&mut rng)).collect();
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let error = values
            .iter()
            .map(|v| (v - mean).powi(2))
            .sum::<f64>()
            .sqrt()
            / n;
        let rows = rows(units(values.iter().map(|&v| one_fruitlet(v))), Vec::new());
        let (value, low, high) = figure(&rows, "fruitlets", "diameter_error_mm");
        assert!((value.unwrap() - mean).abs() < 1e-12);
        // an end of 1000 resamples itself scatters by 0.08 standard errors
        for (end, z) in [(low, -1.959_964), (high, 1.959_964)] {
            let off = (end.unwrap() - (mean + z * error)) / error;
            assert!(
                off.abs() < 0.25,
                "round {round}: off by {off} standard errors"
            );
        }
    }
}

/// All n^n samples of tiny sets are drawn, each about as often.
#[test]
fn every_sample_of_a_tiny_set_is_drawn_about_as_often() {
    for (n, all) in [(1, 1), (2, 4), (3, 27)] {
        let mut seen = BTreeMap::<Vec<usize>, usize>::new();
        for picked in resamples(n, 27_000) {
            assert_eq!(picked.len(), n);
            *seen.entry(picked).or_default() += 1;
        }
        assert_eq!(seen.len(), all);
        let expected = 27_000.0 / all as f64;
        let squares = seen
            .values()
            .map(|&k| (k as f64 - expected).powi(2) / expected);
        // the 0.999 quantile of chi-square with 26 degrees of freedom is 54.05
        assert!(squares.sum::<f64>() < 54.05);
    }
    assert_eq!(resamples(0, 10).count(), 0);
}

/// The extreme samples of two and three values have shares of 1/4 and 1/27, more than 1/40: the ends are the extremes.
#[test]
fn ends_of_tiny_sets_are_their_extremes() {
    for values in [vec![1.0, 4.0], vec![1.0, 2.0, 7.0]] {
        let drawn: Vec<Vec<usize>> = resamples(values.len(), RESAMPLES).collect();
        let last = *values.last().unwrap();
        assert_eq!(mean_interval(&values, &drawn), (1.0, last));
    }
}

/// With five units all 3125 samples can be gone through.
#[test]
fn five_units_agree_with_all_samples() {
    let pairs = [(3_usize, 4_usize), (7, 9), (0, 2), (5, 5), (2, 6)];
    let mut all = Vec::new();
    for code in 0..3125_usize {
        let picked = (0..5).map(|k| pairs[code / 5_usize.pow(k) % 5]);
        let (right, stems) = picked.fold((0, 0), |sum, unit| (sum.0 + unit.0, sum.1 + unit.1));
        all.push(right as f64 / stems as f64);
    }
    all.sort_by(f64::total_cmp);
    let tally = |&(stems_right, stems): &(usize, usize)| Tally {
        stems_right,
        stems,
        ..Tally::default()
    };
    let rows = rows(units(pairs.iter().map(tally)), Vec::new());
    let (value, low, high) = figure(&rows, "pairing", "stem_right");
    assert_eq!(value, Some(17.0 / 26.0));
    let (low, high) = (low.unwrap(), high.unwrap());
    // the share of samples below an end is 0.025 or 0.975, as exactly as 1000 draws tell (standard deviation 0.005)
    assert!(quantile(&all, 0.010).unwrap() <= low && low <= quantile(&all, 0.045).unwrap());
    assert!(quantile(&all, 0.955).unwrap() <= high && high <= quantile(&all, 0.990).unwrap());
}

/// 400 invented sets of 30 trees whose own rates scatter: the interval holds the true rate about as often as it says.
/// Percentile intervals of few units are somewhat too narrow.
#[test]
fn the_interval_covers_the_truth_about_as_often_as_it_says() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let drawn: Vec<Vec<usize>> = resamples(30, RESAMPLES).collect();
    let covered = |_: &usize| {
        let sets: Vec<(f64, f64)> = (0..30)
            .map(|_| {
                let stems = 10 + (rng.next_u64() % 20) as usize;
                let rate = 0.6 + 0.4 * uniform(&mut rng);
                let right = (0..stems).filter(|_| uniform(&mut rng) < rate).count();
                (right as f64, stems as f64)
            })
            .collect();
        let share = |picked: &Vec<usize>| {
            let of =
                |side: fn(&(f64, f64)) -> f64| picked.iter().map(|&u| side(&sets[u])).sum::<f64>();
            of(|u| u.0) / of(|u| u.1)
        };
        let (low, high) =
            percentile_interval(drawn.iter().map(share).collect(), RESAMPLES).unwrap();
        low <= 0.8 && 0.8 <= high
    };
    let hits = (0..400).filter(covered).count();
    let coverage = hits as f64 / 400.0;
    assert!((0.90..=0.98).contains(&coverage), "{coverage}");
}

#[test]
fn few_trees_make_clusters_the_units_and_few_of_both_leave_no_interval() {
    let some = |n: usize| units((0..n).map(|k| one_fruitlet(k as f64)));
    let enough = rows(some(LEAST_UNITS), Vec::new());
    assert_eq!(intervals(&enough).unit, Some(UnitKind::Tree));

    let few = rows(some(2), some(LEAST_UNITS));
    let all = intervals(&few);
    assert_eq!((all.unit, all.units), (Some(UnitKind::Cluster), 5));
    let (value, low, high) = figure(&few, "fruitlets", "diameter_error_mm");
    assert!(value.is_some() && low < high);

    let none = intervals(&rows(some(2), some(4)));
    assert_eq!((none.unit, none.units, none.resamples), (None, 2, 0));
    for figure in &none.figures {
        assert_eq!((figure.low, figure.high), (None, None), "{}", figure.figure);
        let reason = figure.reason.as_deref().unwrap();
        let expected = if figure.value.is_some() {
            "2 trees and 4 clusters; 5 of one of them are needed"
        } else {
            "nothing to form it from"
        };
        assert_eq!(reason, expected, "{}", figure.figure);
    }
}

/// Trees have the figure, clusters cannot: the reason says that, not that resamples failed.
#[test]
fn a_figure_of_trees_has_no_interval_over_clusters_and_says_why() {
    let tree = Tally {
        count_error_share: 0.1,
        trees_counted: 1,
        ..one_fruitlet(1.0)
    };
    let clusters = units((0..8).map(|k| one_fruitlet(f64::from(k))));
    let all = intervals(&rows(units([tree, tree]), clusters));
    let figure = all
        .figures
        .iter()
        .find(|f| f.figure == "count_error_share")
        .unwrap();
    assert_eq!((figure.value, figure.low, figure.n), (Some(0.1), None, 0));
    let reason = figure.reason.as_deref().unwrap();
    assert_eq!(reason, "it goes by trees, and clusters are drawn");
}

/// A figure that a twenty-first of the resamples lacks has an interval; one that a tenth lacks has none.
#[test]
fn a_figure_that_many_resamples_lack_has_no_interval() {
    let values = |n: usize| vec![0.5; n];
    assert_eq!(percentile_interval(values(950), 1000), Some((0.5, 0.5)));
    assert_eq!(percentile_interval(values(949), 1000), None);
    assert_eq!(percentile_interval(Vec::new(), 0), None);
    // 1 of 5 units has a stem: (4/5)^5 = 33 % of the resamples have none
    let mut tallies = vec![one_fruitlet(1.0); 5];
    tallies[2].stems = 3;
    let all = intervals(&rows(units(tallies), Vec::new()));
    let stem = all
        .figures
        .iter()
        .find(|f| f.figure == "stem_right")
        .unwrap();
    assert_eq!((stem.value, stem.low, stem.n), (Some(0.0), None, 1));
    let reason = stem.reason.as_deref().unwrap();
    assert_eq!(reason, "it is undefined in too many resamples");
}

#[test]
fn the_same_rows_give_the_same_bytes_and_every_figure_is_listed() {
    let rows = rows(
        units((0..9).map(|k| one_fruitlet(f64::from(k * k)))),
        Vec::new(),
    );
    let bytes = || serde_json::to_string(&intervals(&rows)).unwrap();
    assert_eq!(bytes(), bytes());
    assert_eq!(intervals(&rows).figures.len(), HEADLINES.len());
    // by hand from the same draws
    let values: Vec<f64> = (0..9).map(|k| f64::from(k * k)).collect();
    let drawn: Vec<Vec<usize>> = resamples(9, RESAMPLES).collect();
    let (_, low, high) = figure(&rows, "fruitlets", "diameter_error_mm");
    let (low_here, high_here) = mean_interval(&values, &drawn);
    assert!((low.unwrap() - low_here).abs() < 1e-12);
    assert!((high.unwrap() - high_here).abs() < 1e-12);
}
