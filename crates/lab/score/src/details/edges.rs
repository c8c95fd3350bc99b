//! Residuals of box edges taken together: by edge, and by how far from the middle of the image they are.

use super::residuals::{BoxResidual, StatedEdge};
use crate::figure::{Share, quantile};
use serde::Serialize;

/// Bins of the distance from the principal point that reach the furthest box, about.
const RADIUS_BINS: f64 = 8.0;
/// Widths that a bin may have, pixels times a power of ten.
const ROUND: [f64; 3] = [1.0, 2.0, 5.0];

/// The residuals of one edge of all boxes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgeSpread {
    /// Boxes whose edge counts.
    pub n: usize,
    /// Mean, pixels; positive where boxes reach further out than predicted.
    pub mean_px: Option<f64>,
    /// Standard deviation about the mean, pixels.
    pub deviation_px: Option<f64>,
    /// No larger than the stated deviation: about 68 % where that holds and errors are normal.
    pub within_stated: Share,
    /// No larger than twice the stated deviation: about 95 %.
    pub within_twice_stated: Share,
}

/// The residuals of all edges in a ring of the image.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RadiusBin {
    /// Least distance from the principal point, included, pixels.
    pub from_px: f64,
    /// Greatest, excluded, pixels.
    pub to_px: f64,
    /// Edges.
    pub n: usize,
    /// 5 %, 25 %, 50 %, 75 % and 95 % quantile, pixels; `None` where the ring is empty.
    pub quantiles_px: Option<[f64; 5]>,
}

/// Left, top, right and bottom edge.
pub(crate) fn by_edge(boxes: &[BoxResidual], stated: StatedEdge) -> [EdgeSpread; 4] {
    [0, 1, 2, 3].map(|side| {
        let values: Vec<f64> = boxes.iter().filter_map(|b| b.outward_px[side]).collect();
        edge_spread(&values, stated.deviation_px())
    })
}

fn edge_spread(values: &[f64], stated_px: Option<f64>) -> EdgeSpread {
    let n = values.len();
    let mean = values.iter().sum::<f64>() / n as f64;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n as f64;
    let within = |times: f64| match stated_px {
        None => Share::undefined("no deviation of a box edge is stated"),
        Some(px) => Share::of(
            values.iter().map(|v| v.abs() <= times * px),
            "no box is predicted",
        ),
    };
    EdgeSpread {
        n,
        mean_px: (n > 0).then_some(mean),
        deviation_px: (n > 0).then_some(square.sqrt()),
        within_stated: within(1.0),
        within_twice_stated: within(2.0),
    }
}

/// Rings of equal, round width from the principal point to the furthest box.
pub(crate) fn by_radius(boxes: &[BoxResidual]) -> Vec<RadiusBin> {
    let furthest = boxes.iter().map(|b| b.image_radius_px).fold(0.0, f64::max);
    let width = round_width(furthest / RADIUS_BINS);
    let mut rings: Vec<Vec<f64>> = Vec::new();
    for found in boxes {
        // at most twice `RADIUS_BINS`
        let ring = (found.image_radius_px / width) as usize;
        if rings.len() <= ring {
            rings.resize(ring + 1, Vec::new());
        }
        rings[ring].extend(found.outward_px.iter().flatten());
    }
    (0..)
        .zip(rings)
        .map(|(k, values)| ring(f64::from(k) * width, width, values))
        .collect()
}

fn ring(from_px: f64, width: f64, mut values: Vec<f64>) -> RadiusBin {
    values.sort_by(f64::total_cmp);
    let at = [0.05, 0.25, 0.5, 0.75, 0.95].map(|q| quantile(&values, q));
    RadiusBin {
        from_px,
        to_px: from_px + width,
        n: values.len(),
        quantiles_px: at
            .iter()
            .all(Option::is_some)
            .then(|| at.map(Option::unwrap_or_default)),
    }
}

/// The least round number that is not under `least`; 1 where that is no positive number.
fn round_width(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 1.0;
    }
    let decade = 10f64.powf(least.log10().floor());
    let round = ROUND.iter().map(|m| m * decade).find(|&w| w >= least);
    round.unwrap_or(10.0 * decade)
}
