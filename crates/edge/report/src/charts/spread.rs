//! How values are spread in bins: a box over the middle half, a dot at the median, lines further out.

use crate::charts::plot::Plot;
use crate::charts::scale::number;
use crate::charts::sheet::Sheet;

/// The values of a bin.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadBin {
    /// What stands under the bin.
    pub label: String,
    /// Number of values.
    pub n: usize,
    /// Where they lie; `None` where there are none.
    pub spread: Option<Quantiles>,
}

/// Where values lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantiles {
    /// Where the line below the box ends.
    pub low: f64,
    /// First quartile.
    pub low_quartile: f64,
    /// Median.
    pub median: f64,
    /// Third quartile.
    pub high_quartile: f64,
    /// Where the line above the box ends.
    pub high: f64,
}

/// Draws the bins side by side, with their labels and counts, on a plot whose x runs from 0 to the number of bins.
pub(crate) fn draw(sheet: &mut Sheet, plot: &Plot, bins: &[SpreadBin]) {
    let middle = |k: usize| k as f64 + 0.5;
    let labels: Vec<(f64, String)> = (bins.iter().enumerate())
        .map(|(k, bin)| (middle(k), bin.label.clone()))
        .collect();
    plot.x_line(sheet, &labels);
    let counts: Vec<(f64, usize)> = (bins.iter().enumerate())
        .map(|(k, bin)| (middle(k), bin.n))
        .collect();
    plot.counts(sheet, &counts);
    let width = plot.x.px(1.0) - plot.x.px(0.0);
    let half = (0.28 * width).min(16.0);
    for (k, bin) in bins.iter().enumerate() {
        if let Some(spread) = &bin.spread {
            draw_bin(sheet, plot, plot.x.px(middle(k)), half, spread);
        }
    }
}

fn draw_bin(sheet: &mut Sheet, plot: &Plot, x: f64, half: f64, spread: &Quantiles) {
    let y = |v: f64| plot.y.px(v);
    for (out, end) in [
        (spread.low, spread.low_quartile),
        (spread.high, spread.high_quartile),
    ] {
        sheet.svg.path("thin", &[[x, y(out)], [x, y(end)]], false);
        sheet.svg.path(
            "thin",
            &[[x - half / 2.0, y(out)], [x + half / 2.0, y(out)]],
            false,
        );
    }
    let corners = [
        x - half,
        y(spread.high_quartile),
        x + half,
        y(spread.low_quartile),
    ];
    sheet.svg.rect("bar", corners);
    sheet.svg.dot("hole", [x, y(spread.median)], 3.5);
}

/// The bins in words.
pub(crate) fn told(bins: &[SpreadBin], unit: &str) -> String {
    let bins: Vec<String> = bins
        .iter()
        .map(|bin| match &bin.spread {
            None => format!("{}: none", bin.label),
            Some(s) => format!(
                "{}: n {}, median {} {unit}, quartiles {} and {}",
                bin.label,
                bin.n,
                number(s.median, 2),
                number(s.low_quartile, 2),
                number(s.high_quartile, 2)
            ),
        })
        .collect();
    bins.join("; ") + "."
}
