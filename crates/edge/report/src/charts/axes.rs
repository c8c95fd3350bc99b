//! How far the axes of fruitlets are off, as a cumulative share.

use crate::charts::plot::Plot;
use crate::charts::scale::{number, percent};
use crate::charts::sheet::{LINE, Mark, Sheet};

/// Where the chart ends while no error is larger, degrees.
const NARROW_DEG: f64 = 90.0;
/// Largest angle there is, degrees.
const WIDE_DEG: f64 = 180.0;

/// Errors of axes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AxisErrors {
    /// Angle between map and truth, degrees, one a found fruitlet that states an axis.
    pub errors_deg: Vec<f64>,
    /// Found fruitlets that state none.
    pub without_axis: usize,
    /// Shares to be marked.
    pub within: Vec<ShareWithin>,
    /// Why there are none.
    pub none_because: Option<String>,
}

/// The share within an angle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareWithin {
    /// The angle, degrees.
    pub deg: f64,
    /// Fruitlets within it.
    pub num: usize,
    /// Fruitlets that state an axis.
    pub den: usize,
    /// 95 % interval of the share.
    pub interval: [f64; 2],
}

/// The cumulative share over the error, with the marked shares printed.
#[must_use]
pub fn axis_errors(about: &str, data: &AxisErrors) -> String {
    let mut sheet = Sheet::new("Error of the axis", about);
    let mut errors = data.errors_deg.clone();
    errors.retain(|e| e.is_finite());
    errors.sort_by(f64::total_cmp);
    let Some(&worst) = errors.last() else {
        let because = data.none_because.as_deref();
        return sheet.nothing(because.unwrap_or("no found fruitlet states an axis"));
    };
    let n = errors.len();
    let summary = format!(
        "n {n} with an axis; {} found without one",
        data.without_axis
    );
    sheet.line(&summary);
    sheet.key(&[
        (Mark::Line, "share with a smaller error"),
        (Mark::Dot, "marked share, 95 % Wilson interval in brackets"),
    ]);
    let end = if worst <= NARROW_DEG {
        NARROW_DEG
    } else {
        WIDE_DEG
    };
    let plot = Plot::below_head(&sheet, 300.0, [0.0, end], [0.0, 100.0]);
    plot.y_axis(
        &mut sheet,
        5,
        "share of the fruitlets with an axis, per cent",
    );
    let mut line = vec![[plot.x.px(0.0), plot.y.px(0.0)]];
    let share = |count: usize| plot.y.px(100.0 * count as f64 / n as f64);
    for (k, &error) in errors.iter().enumerate() {
        line.push([plot.x.px(error), share(k)]);
        line.push([plot.x.px(error), share(k + 1)]);
    }
    line.push([plot.x.px(end), share(n)]);
    sheet.svg.path("own", &line, false);
    draw_marks(&mut sheet, &plot, &data.within);
    plot.x_axis(&mut sheet, 9);
    plot.x_title(&mut sheet, 40.0, "angle between map and truth, degrees");
    let told: Vec<String> = data.within.iter().map(words).collect();
    sheet.finish_at(
        plot.area[3] + 58.0,
        &format!("{summary}. {}.", told.join("; ")),
    )
}

/// Points on the curve with their words below and to the right, where the curve never is; no two on one line.
fn draw_marks(sheet: &mut Sheet, plot: &Plot, within: &[ShareWithin]) {
    let mut below = f64::NEG_INFINITY;
    for mark in within.iter().rev().filter(|m| m.den > 0) {
        let at = [
            plot.x.px(mark.deg),
            plot.y.px(100.0 * mark.num as f64 / mark.den as f64),
        ];
        let foot = [at[0], plot.area[3]];
        sheet.svg.path("ideal", &[at, foot], false);
        sheet.svg.dot("dot", at, 4.0);
        let y = (at[1] + LINE).max(below + LINE);
        below = y;
        sheet.svg.text_in("halo", [at[0] + 8.0, y], &words(mark));
    }
}

fn words(mark: &ShareWithin) -> String {
    let [low, high] = mark.interval.map(|share| number(100.0 * share, 0));
    format!(
        "within {}\u{b0}: {} ({low}\u{2013}{high} %), {} of {}",
        number(mark.deg, 0),
        percent(mark.num, mark.den),
        mark.num,
        mark.den
    )
}
