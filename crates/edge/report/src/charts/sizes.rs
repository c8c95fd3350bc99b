//! The diameters of the map beside the true ones.

use crate::charts::histogram::Histogram;
use crate::charts::plot::Plot;
use crate::charts::scale::{number, round_step, round_up};
use crate::charts::sheet::{Mark, Sheet};

/// Most bins of the chart.
const BINS: f64 = 24.0;
/// Least width of a bin, millimetres.
const LEAST_STEP_MM: f64 = 0.5;

/// Diameters.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sizes {
    /// Of the true fruitlets that are expected in the map, millimetres.
    pub true_mm: Vec<f64>,
    /// Of the fruitlets of the map, millimetres.
    pub map_mm: Vec<f64>,
}

/// Both distributions over the same bins: boxes for the truth, an outline for the map.
#[must_use]
pub fn sizes(about: &str, data: &Sizes) -> String {
    let mut sheet = Sheet::new("Diameters", about);
    let all = || {
        data.true_mm
            .iter()
            .chain(&data.map_mm)
            .copied()
            .filter(|d| d.is_finite())
    };
    let (Some(least), Some(most)) = (all().min_by(f64::total_cmp), all().max_by(f64::total_cmp))
    else {
        return sheet.nothing("neither the truth nor the map has a diameter");
    };
    let step = round_step((most - least) / (BINS - 2.0)).max(LEAST_STEP_MM);
    let from = (least / step).floor() * step;
    // about `BINS`
    let bins = ((most - from) / step).floor().clamp(0.0, BINS) as usize + 1;
    let truth = Histogram::of(&data.true_mm, from, step, bins);
    let map = Histogram::of(&data.map_mm, from, step, bins);
    let words = [
        format!("true, n {}", data.true_mm.len()),
        format!("map, n {}", data.map_mm.len()),
    ];
    sheet.key(&[(Mark::Other, &words[0]), (Mark::Line, &words[1])]);
    let top = round_up(truth.most().max(map.most()) as f64);
    let plot = Plot::below_head(&sheet, 270.0, [from, from + step * bins as f64], [0.0, top]);
    let title = format!(
        "fruitlets in {} mm of diameter",
        number(step, usize::from(step < 1.0))
    );
    plot.y_axis(&mut sheet, 5, &title);
    truth.draw_bars(&mut sheet, &plot, "other");
    map.draw_outline(&mut sheet, &plot, "own");
    plot.x_axis(&mut sheet, 8);
    plot.x_title(&mut sheet, 40.0, "diameter, mm");
    sheet.finish_at(plot.area[3] + 58.0, &told(&truth, &map))
}

fn told(truth: &Histogram, map: &Histogram) -> String {
    let bins: Vec<String> = (truth.counts.iter().zip(&map.counts).enumerate())
        .map(|(k, (t, m))| {
            let ends = [truth.edge(k), truth.edge(k + 1)].map(|mm| number(mm, 1));
            format!("{} to {} mm: true {t}, map {m}", ends[0], ends[1])
        })
        .collect();
    bins.join("; ") + "."
}
