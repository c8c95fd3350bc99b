//! From rows to the table: means over the seeds, with intervals.

use crate::figures::FigureKind;
use crate::rows::Rows;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Content of the intervals.
const LEVEL: f64 = 0.95;

/// A study in few numbers: one line for each scene, combination and contestant, in the order of the rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Names of what varies.
    pub varied: Vec<String>,
    /// The figures of each line.
    pub figures: Vec<FigureKind>,
    /// The lines.
    pub lines: Vec<Line>,
}

/// All seeds of a scene, a combination and a contestant.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Name of the scene.
    pub scene: String,
    /// What varies.
    pub values: Vec<String>,
    /// Name of the contestant.
    pub estimator: String,
    /// Number of seeds.
    pub seeds: usize,
    /// In the order of [`Summary::figures`].
    pub figures: Vec<MeanInterval>,
}

/// The mean of a figure over seeds, with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanInterval {
    /// Seeds in which the figure is defined.
    pub n: usize,
    /// Arithmetic mean; `None` without seeds.
    pub mean: Option<f64>,
    /// Half of the width of the interval about the mean; `None` with fewer than two seeds.
    pub half_width: Option<f64>,
}

impl MeanInterval {
    /// Of the values of independent seeds: mean +- t s / sqrt(n), s with n - 1 degrees of freedom.
    ///
    /// Source: Student, "The probable error of a mean", Biometrika 6 (1908). Exact for normal values; a share near 0
    /// or 1 is skewed, and its interval may reach beyond.
    #[must_use]
    pub fn of(values: &[f64]) -> Self {
        let n = values.len();
        let count = n as f64;
        let mean = (n > 0).then(|| values.iter().sum::<f64>() / count);
        let half_width = mean.zip(t_quantile(n)).map(|(mean, t)| {
            let squares: f64 = values.iter().map(|v| (v - mean).powi(2)).sum();
            t * (squares / (count - 1.0) / count).sqrt()
        });
        Self {
            n,
            mean,
            half_width,
        }
    }

    /// Lower end.
    #[must_use]
    pub fn low(&self) -> Option<f64> {
        Some(self.mean? - self.half_width?)
    }

    /// Upper end.
    #[must_use]
    pub fn high(&self) -> Option<f64> {
        Some(self.mean? + self.half_width?)
    }
}

/// The quantile of Student's t that 95 % lie within, for `n` values; `None` below two.
fn t_quantile(n: usize) -> Option<f64> {
    let freedom = n.checked_sub(1).filter(|f| *f > 0)? as f64;
    let t = StudentsT::new(0.0, 1.0, freedom).ok()?;
    Some(t.inverse_cdf(0.5 + 0.5 * LEVEL))
}

/// Means and intervals over the seeds. Rows of one line stand together, as [`crate::run_study`] gives them.
#[must_use]
pub fn summarise(rows: &Rows) -> Summary {
    let same = |a: &crate::Row, b: &crate::Row| {
        a.scene == b.scene && a.values == b.values && a.estimator == b.estimator
    };
    let lines = rows.rows.chunk_by(same).filter_map(|seeds| {
        let first = seeds.first()?;
        let figure = |k: usize| {
            let values: Vec<f64> = seeds
                .iter()
                .filter_map(|row| row.figures.get(k).copied().flatten())
                .collect();
            MeanInterval::of(&values)
        };
        Some(Line {
            scene: first.scene.clone(),
            values: first.values.clone(),
            estimator: first.estimator.clone(),
            seeds: seeds.len(),
            figures: (0..rows.figures.len()).map(figure).collect(),
        })
    });
    Summary {
        varied: rows.varied.clone(),
        figures: rows.figures.clone(),
        lines: lines.collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quantile_is_that_of_published_tables() {
        // two-sided 95 %: Fisher and Yates, "Statistical Tables" (1938), table III; any t table has them
        for (freedom, published) in [
            (1, 12.706),
            (4, 2.776),
            (9, 2.262),
            (29, 2.045),
            (120, 1.980),
        ] {
            let t = t_quantile(freedom + 1).expect("two values or more");
            assert!((t - published).abs() < 5e-4, "{freedom}: {t}");
        }
        assert_eq!(t_quantile(1), None);
        assert_eq!(t_quantile(0), None);
    }

    #[test]
    fn an_interval_is_as_worked_by_hand() {
        // mean 5, squares 9 + 1 + 1 + 9 = 20, s = sqrt(20 / 3), t(3) = 3.182446
        let interval = MeanInterval::of(&[2.0, 4.0, 6.0, 8.0]);
        assert_eq!((interval.n, interval.mean), (4, Some(5.0)));
        let half = interval.half_width.expect("four values");
        assert!(
            (half - 3.182_446 * (20.0_f64 / 3.0).sqrt() / 2.0).abs() < 1e-5,
            "{half}"
        );
        assert_eq!(interval.low(), Some(5.0 - half));
    }

    #[test]
    fn one_seed_has_a_mean_and_no_interval_and_none_has_neither() {
        let one = MeanInterval::of(&[0.5]);
        assert_eq!(
            (one.n, one.mean, one.half_width, one.high()),
            (1, Some(0.5), None, None)
        );
        assert_eq!(MeanInterval::of(&[]).mean, None);
    }
}
