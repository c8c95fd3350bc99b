//! Stated probabilities against what came true.

use crate::charts::plot::Plot;
use crate::charts::scale::number;
use crate::charts::sheet::{Mark, Sheet};

/// What was stated with probabilities, in bins, and what came of it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Reliability {
    /// What the probability is of, as the end of "Stated against came true: ".
    pub of: String,
    /// Bins that are not empty, ascending.
    pub bins: Vec<ReliabilityBin>,
    /// Brier score.
    pub brier: Option<f64>,
    /// Mean distance between stated and came true, weighted by counts.
    pub calibration_error: Option<f64>,
    /// Why there are no bins.
    pub none_because: Option<String>,
}

/// The statements of a bin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReliabilityBin {
    /// Lower end.
    pub from: f64,
    /// Upper end.
    pub to: f64,
    /// Mean probability stated.
    pub stated: f64,
    /// How many came true.
    pub came_true: usize,
    /// How many there are.
    pub cases: usize,
    /// 95 % interval of the share that came true.
    pub interval: [f64; 2],
}

impl ReliabilityBin {
    fn share(&self) -> f64 {
        self.came_true as f64 / self.cases.max(1) as f64
    }
}

/// The diagram: a point a bin with its interval, the counts below, a broken line where a point should lie.
#[must_use]
pub fn reliability(about: &str, data: &Reliability) -> String {
    let title = format!("Stated against came true: {}", data.of);
    let mut sheet = Sheet::new(&title, about);
    if data.bins.is_empty() {
        let because = data.none_because.as_deref();
        return sheet.nothing(because.unwrap_or("no probability was stated"));
    }
    let figure = |v: Option<f64>| v.map_or("undefined".to_owned(), |v| number(v, 3));
    let cases: usize = data.bins.iter().map(|b| b.cases).sum();
    let summary = format!(
        "n {cases}, Brier score {}, mean distance from the broken line {}",
        figure(data.brier),
        figure(data.calibration_error)
    );
    sheet.line(&summary);
    sheet.key(&[
        (
            Mark::DotWithBar,
            "share that came true, 95 % Wilson interval",
        ),
        (Mark::Ideal, "as stated"),
    ]);
    let plot = Plot::below_head(&sheet, 330.0, [0.0, 1.0], [0.0, 1.0]);
    plot.y_axis(&mut sheet, 5, "share that came true");
    plot.x_axis(&mut sheet, 10);
    plot.x_title(
        &mut sheet,
        58.0,
        "probability stated (n: cases in each tenth)",
    );
    let (from, to) = (
        [plot.x.px(0.0), plot.y.px(0.0)],
        [plot.x.px(1.0), plot.y.px(1.0)],
    );
    sheet.svg.path("ideal", &[from, to], false);
    let counts: Vec<(f64, usize)> = (data.bins.iter())
        .map(|b| (f64::midpoint(b.from, b.to), b.cases))
        .collect();
    plot.counts(&mut sheet, &counts);
    for bin in &data.bins {
        draw_bin(&mut sheet, &plot, bin);
    }
    let told: Vec<String> = data.bins.iter().map(told).collect();
    sheet.finish_at(
        plot.area[3] + 76.0,
        &format!("{summary}. {}.", told.join("; ")),
    )
}

fn draw_bin(sheet: &mut Sheet, plot: &Plot, bin: &ReliabilityBin) {
    let x = plot.x.px(bin.stated);
    let [low, high] = bin.interval.map(|share| plot.y.px(share));
    sheet.svg.path("thin", &[[x, low], [x, high]], false);
    for y in [low, high] {
        sheet.svg.path("thin", &[[x - 5.0, y], [x + 5.0, y]], false);
    }
    sheet.svg.dot("dot", [x, plot.y.px(bin.share())], 4.0);
}

fn told(bin: &ReliabilityBin) -> String {
    format!(
        "stated {} to {} (mean {}): {} of {} came true",
        number(bin.from, 1),
        number(bin.to, 1),
        number(bin.stated, 2),
        bin.came_true,
        bin.cases
    )
}
