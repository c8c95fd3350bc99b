//! Residuals of box edges, a panel an edge.

use crate::charts::histogram::Histogram;
use crate::charts::plot::Plot;
use crate::charts::scale::{number, percent, round_step};
use crate::charts::sheet::{MARGIN, Mark, Sheet, WIDTH};

/// Bins of a panel.
const BINS: usize = 32;
/// Half of what a panel spans, in deviations.
const SPAN: f64 = 4.0;
/// Height of a panel's axes and of a panel in all, pixels.
const PANEL: f64 = 140.0;
const PANEL_APART: f64 = 250.0;
/// Room for the three lines above a panel's axes, pixels.
const PANEL_HEAD: f64 = 62.0;
/// Width of a panel's axes, pixels.
const PANEL_WIDTH: f64 = 240.0;
/// Points of the curve.
const CURVE_POINTS: usize = 64;

/// Residuals of all edges.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct EdgesResiduals {
    /// Left, top, right, bottom.
    pub edges: [EdgeResiduals; 4],
    /// The standard deviation that was stated, pixels.
    pub stated_px: Option<f64>,
    /// Why there are none.
    pub none_because: Option<String>,
}

/// Residuals of one edge.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct EdgeResiduals {
    /// How much further out than predicted the edge lies, pixels; one a box.
    pub outward_px: Vec<f64>,
    /// Their mean, pixels.
    pub mean_px: Option<f64>,
    /// Their standard deviation, pixels.
    pub deviation_px: Option<f64>,
    /// How many are no larger than the stated deviation.
    pub within_stated: usize,
}

/// What each panel shows.
const NAMES: [&str; 4] = ["left edge", "top edge", "right edge", "bottom edge"];

/// A histogram an edge, with the normal curve of the stated deviation over it.
#[must_use]
pub fn residuals_by_edge(about: &str, data: &EdgesResiduals) -> String {
    let mut sheet = Sheet::new("Box edges against the map", about);
    let measured = (data.edges.iter().filter_map(|e| e.deviation_px)).max_by(f64::total_cmp);
    let Some(measured) = measured else {
        let because = data.none_because.as_deref();
        return sheet.nothing(because.unwrap_or("no box of a found fruitlet can be predicted"));
    };
    let step = round_step(SPAN * data.stated_px.unwrap_or(measured) * 2.0 / BINS as f64);
    let edge = step * BINS as f64 / 2.0;
    let counted: Vec<Histogram> = (data.edges.iter())
        .map(|e| Histogram::of(&e.outward_px, -edge, step, BINS))
        .collect();
    let stated = (data.stated_px)
        .map(|px| format!("normal with the stated deviation, {} px", number(px, 2)));
    let mut key = vec![(Mark::Bar, "boxes")];
    key.extend(stated.iter().map(|words| (Mark::Curve, words.as_str())));
    sheet.key(&key);
    let curve = |h: &Histogram, x: f64| Some(normal(x, data.stated_px?) * step * h.total() as f64);
    let highest = (counted.iter())
        .flat_map(|h| [h.most() as f64, curve(h, 0.0).unwrap_or(0.0)])
        .fold(1.0, f64::max);
    let head = sheet.y + 14.0;
    for (k, (edges, histogram)) in data.edges.iter().zip(&counted).enumerate() {
        let (left, top) = (
            if k % 2 == 0 {
                68.0
            } else {
                WIDTH - MARGIN - PANEL_WIDTH
            },
            head + PANEL_HEAD + PANEL_APART * (k / 2) as f64,
        );
        let area = [left, top, left + PANEL_WIDTH, top + PANEL];
        let plot = Plot::in_area(area, [-edge, edge], [0.0, 1.06 * highest]);
        panel_head(&mut sheet, &plot, NAMES[k], edges, data.stated_px);
        plot.y_axis(&mut sheet, 4, "");
        histogram.draw_bars(&mut sheet, &plot, "bar");
        draw_curve(&mut sheet, &plot, edge, |x| curve(histogram, x));
        plot.x_axis(&mut sheet, 6);
        plot.x_title(&mut sheet, 38.0, &beyond(histogram));
    }
    let told: Vec<String> = (NAMES.iter().zip(&data.edges))
        .map(|(name, e)| format!("{name}: {}", figures(e)))
        .collect();
    sheet.finish_at(
        head + PANEL_HEAD + PANEL_APART + PANEL + 54.0,
        &format!("{}.", told.join("; ")),
    )
}

/// Density of the normal distribution of mean zero.
fn normal(x: f64, deviation: f64) -> f64 {
    (-0.5 * (x / deviation).powi(2)).exp() / (deviation * (std::f64::consts::TAU).sqrt())
}

fn panel_head(
    sheet: &mut Sheet,
    plot: &Plot,
    name: &str,
    edges: &EdgeResiduals,
    stated_px: Option<f64>,
) {
    let [left, top, ..] = plot.area;
    let n = edges.outward_px.len();
    let at = |line: f64| [left - 8.0, top - 45.0 + 17.0 * line];
    let words = format!("{name}, n {n}");
    sheet.svg.text_in("panel", at(0.0), &words);
    let figures = match (edges.mean_px, edges.deviation_px) {
        (Some(mean), Some(deviation)) => format!(
            "mean {} px, deviation {} px",
            number(mean, 2),
            number(deviation, 2)
        ),
        _ => "no box".to_owned(),
    };
    sheet.svg.text_in("tick soft", at(1.0), &figures);
    if n > 0 && stated_px.is_some() {
        let within = percent(edges.within_stated, n) + " within the stated deviation";
        sheet.svg.text_in("tick soft", at(2.0), &within);
    }
}

fn figures(edges: &EdgeResiduals) -> String {
    match (edges.mean_px, edges.deviation_px) {
        (Some(mean), Some(deviation)) => format!(
            "n {}, mean {} px, deviation {} px, {} within the stated deviation",
            edges.outward_px.len(),
            number(mean, 2),
            number(deviation, 2),
            edges.within_stated
        ),
        _ => "no box".to_owned(),
    }
}

/// The title of a panel's axis, and what does not fit on it.
fn beyond(histogram: &Histogram) -> String {
    let further = histogram.below + histogram.above;
    match further {
        0 => "outward of predicted, px".to_owned(),
        _ => format!("outward of predicted, px ({further} beyond)"),
    }
}

fn draw_curve(sheet: &mut Sheet, plot: &Plot, edge: f64, at: impl Fn(f64) -> Option<f64>) {
    let points: Option<Vec<[f64; 2]>> = (0..=CURVE_POINTS)
        .map(|k| {
            let x = edge * (2.0 * k as f64 / CURVE_POINTS as f64 - 1.0);
            Some([plot.x.px(x), plot.y.px(at(x)?)])
        })
        .collect();
    sheet.svg.path("curve", &points.unwrap_or_default(), false);
}
