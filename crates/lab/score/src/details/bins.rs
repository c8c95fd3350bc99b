//! Errors of position in bins.

use super::fruit::{FruitDetail, MapSide, Outcome};
use crate::figure::quantile;
use serde::Serialize;

/// Lower bounds of the bins of images; the last has no upper one. Single images where each one counts, then roughly
/// half as many again.
const VIEWS: [f64; 12] = [
    1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 11.0, 16.0, 24.0, 36.0, 54.0,
];
/// Lower bounds of the bins of area, square pixels; the last has no upper one. Each side grows by the root of two.
const AREAS_PX2: [f64; 12] = [
    0.0, 64.0, 128.0, 256.0, 512.0, 1024.0, 2048.0, 4096.0, 8192.0, 16384.0, 32768.0, 65536.0,
];

/// The errors of the fruit in a bin.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ErrorBin {
    /// Lower bound, included.
    pub from: f64,
    /// Upper bound, excluded; `None` = there is none.
    pub to: Option<f64>,
    /// Fruit in the bin.
    pub n: usize,
    /// 10 % quantile, millimetres; `None` where the bin is empty, as of the others.
    pub p10_mm: Option<f64>,
    /// First quartile, millimetres.
    pub low_quartile_mm: Option<f64>,
    /// Median, millimetres.
    pub median_mm: Option<f64>,
    /// Third quartile, millimetres.
    pub high_quartile_mm: Option<f64>,
    /// 90 % quantile, millimetres.
    pub p90_mm: Option<f64>,
}

/// Error by images that show the map fruitlet.
pub(crate) fn by_views(fruitlets: &[FruitDetail]) -> Vec<ErrorBin> {
    binned(fruitlets, &VIEWS, |map| Some(map.views as f64))
}

/// Error by median area of the boxes.
pub(crate) fn by_pixel_area(fruitlets: &[FruitDetail]) -> Vec<ErrorBin> {
    binned(fruitlets, &AREAS_PX2, |map| map.box_area_px2)
}

/// The bins from the first with fruit to the last; considered fruit only.
fn binned(
    fruitlets: &[FruitDetail],
    from: &[f64],
    value: impl Fn(&MapSide) -> Option<f64>,
) -> Vec<ErrorBin> {
    let mut errors = vec![Vec::new(); from.len()];
    for fruit in fruitlets.iter().filter(|f| f.outcome == Outcome::Right) {
        if let (Some(at), Some(error)) = (fruit.map.as_ref().and_then(&value), &fruit.error) {
            let bin = from.partition_point(|&low| low <= at).checked_sub(1);
            if let Some(bin) = bin.and_then(|bin| errors.get_mut(bin)) {
                bin.push(error.centre_size_mm);
            }
        }
    }
    let bins: Vec<ErrorBin> = (0..)
        .zip(errors)
        .map(|(bin, errors)| error_bin(from, bin, errors))
        .collect();
    let first = bins.iter().position(|b| b.n > 0).unwrap_or(bins.len());
    let end = bins.iter().rposition(|b| b.n > 0).map_or(first, |b| b + 1);
    bins.into_iter().take(end).skip(first).collect()
}

fn error_bin(from: &[f64], bin: usize, mut errors: Vec<f64>) -> ErrorBin {
    errors.sort_by(f64::total_cmp);
    ErrorBin {
        from: from.get(bin).copied().unwrap_or(0.0),
        to: from.get(bin + 1).copied(),
        n: errors.len(),
        p10_mm: quantile(&errors, 0.1),
        low_quartile_mm: quantile(&errors, 0.25),
        median_mm: quantile(&errors, 0.5),
        high_quartile_mm: quantile(&errors, 0.75),
        p90_mm: quantile(&errors, 0.9),
    }
}
