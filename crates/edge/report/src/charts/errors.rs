//! Error of position by how often and how large a fruitlet is seen.

use crate::charts::plot::Plot;
use crate::charts::scale::round_up;
use crate::charts::sheet::{Mark, Sheet};
use crate::charts::spread::{SpreadBin, draw, told};

/// Errors in bins.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ErrorBins {
    /// Distance of the centres in millimetres; the lines run to the 10 % and 90 % quantiles.
    pub bins_mm: Vec<SpreadBin>,
    /// Why there are none.
    pub none_because: Option<String>,
}

/// Error of position by the images that show a fruitlet.
#[must_use]
pub fn error_by_views(about: &str, data: &ErrorBins) -> String {
    chart(
        "Error of position by images",
        "images that show the fruitlet (n: fruitlets)",
        about,
        data,
    )
}

/// Error of position by the area of a fruitlet's boxes.
#[must_use]
pub fn error_by_pixel_area(about: &str, data: &ErrorBins) -> String {
    chart(
        "Error of position by size in the image",
        "median area of the fruitlet's boxes, square pixels (n: fruitlets)",
        about,
        data,
    )
}

fn chart(title: &str, x_title: &str, about: &str, data: &ErrorBins) -> String {
    let mut sheet = Sheet::new(title, about);
    let spreads = data.bins_mm.iter().filter_map(|b| b.spread);
    let Some(top) = spreads.map(|s| s.high).max_by(f64::total_cmp) else {
        let because = data.none_because.as_deref();
        return sheet.nothing(because.unwrap_or("no fruitlet was found"));
    };
    sheet.key(&[(
        Mark::Spread,
        "dot: median; box: middle half; line: 10 % to 90 %",
    )]);
    let bins = data.bins_mm.len() as f64;
    let plot = Plot::below_head(&sheet, 270.0, [0.0, bins], [0.0, round_up(top)]);
    plot.y_axis(&mut sheet, 5, "distance of the centres, mm");
    draw(&mut sheet, &plot, &data.bins_mm);
    plot.x_title(&mut sheet, 58.0, x_title);
    sheet.finish_at(plot.area[3] + 76.0, &told(&data.bins_mm, "mm"))
}
