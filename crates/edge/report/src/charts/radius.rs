//! Residuals of box edges by how far from the middle of the image they are.

use crate::charts::plot::Plot;
use crate::charts::scale::{number, round_up};
use crate::charts::sheet::{Mark, Sheet};
use crate::charts::spread::{SpreadBin, draw, told};

/// Residuals in bins of the distance from the principal point.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RadiusResiduals {
    /// How much further out than predicted an edge lies, pixels; the lines run to the 5 % and 95 % quantiles.
    pub bins_px: Vec<SpreadBin>,
    /// The standard deviation that was stated, pixels.
    pub stated_px: Option<f64>,
    /// Why there are none.
    pub none_because: Option<String>,
}

/// Residuals by distance from the principal point.
#[must_use]
pub fn residuals_by_radius(about: &str, data: &RadiusResiduals) -> String {
    let mut sheet = Sheet::new("Box edges against the map, by place in the image", about);
    let reach = (data.bins_px.iter().filter_map(|b| b.spread))
        .flat_map(|s| [s.low.abs(), s.high.abs()])
        .max_by(f64::total_cmp);
    let Some(reach) = reach else {
        let because = data.none_because.as_deref();
        return sheet.nothing(because.unwrap_or("no box of a found fruitlet can be predicted"));
    };
    let end = round_up(reach.max(1.2 * data.stated_px.unwrap_or(0.0)));
    let stated = (data.stated_px).map(|px| format!("stated deviation, {} px", number(px, 2)));
    let mut key = vec![(
        Mark::Spread,
        "dot: median; box: middle half; line: 5 % to 95 %",
    )];
    key.extend(stated.iter().map(|words| (Mark::Ideal, words.as_str())));
    sheet.key(&key);
    let bins = data.bins_px.len() as f64;
    let plot = Plot::below_head(&sheet, 270.0, [0.0, bins], [-end, end]);
    plot.y_axis(&mut sheet, 6, "edge further out than predicted, px");
    draw(&mut sheet, &plot, &data.bins_px);
    let [left, _, right, _] = plot.area;
    for px in data.stated_px.iter().flat_map(|px| [-px, *px]) {
        let y = plot.y.px(px);
        sheet.svg.path("ideal", &[[left, y], [right, y]], false);
    }
    plot.x_title(
        &mut sheet,
        58.0,
        "distance of the box from the principal point, px (n: edges)",
    );
    sheet.finish_at(plot.area[3] + 76.0, &told(&data.bins_px, "px"))
}
