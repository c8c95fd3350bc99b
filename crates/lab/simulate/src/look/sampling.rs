//! Boxes from sampled points.

use crate::lens::Lens;
use nalgebra::Vector3;

/// A box in the image: x0, y0, x1, y1.
pub(crate) type BoxPx = [f64; 4];

/// A box that holds nothing yet.
pub(crate) const EMPTY: BoxPx = [
    f64::INFINITY,
    f64::INFINITY,
    f64::NEG_INFINITY,
    f64::NEG_INFINITY,
];

/// Grows a box by a point.
pub(crate) fn take_in(b: &mut BoxPx, p: &[f64; 2]) {
    *b = [
        b[0].min(p[0]),
        b[1].min(p[1]),
        b[2].max(p[0]),
        b[3].max(p[1]),
    ];
}

/// Whether a pixel position lies in an image of this size.
pub(crate) fn inside(p: &[f64; 2], size_px: [f64; 2]) -> bool {
    p[0] >= 0.0 && p[1] >= 0.0 && p[0] <= size_px[0] && p[1] <= size_px[1]
}

/// A box cut at the image border.
pub(crate) fn clip(b: &BoxPx, size_px: [f64; 2]) -> BoxPx {
    [
        b[0].clamp(0.0, size_px[0]),
        b[1].clamp(0.0, size_px[1]),
        b[2].clamp(0.0, size_px[0]),
        b[3].clamp(0.0, size_px[1]),
    ]
}

/// Width times height; 0 where it is empty.
pub(crate) fn area(b: &BoxPx) -> f64 {
    (b[2] - b[0]).max(0.0) * (b[3] - b[1]).max(0.0)
}

/// Value of edge `k` of a box that just touches the point, larger = further out.
pub(crate) fn outward(p: &[f64; 2], k: usize) -> f64 {
    match k {
        0 => -p[0],
        1 => -p[1],
        2 => p[0],
        _ => p[1],
    }
}

/// The extreme of a closed curve in one edge's direction, from samples at `turn = i/n` and a search between them
/// (golden section on the two intervals beside the largest sample; Kiefer 1953).
pub(crate) fn extreme(
    curve: &dyn Fn(f64) -> Vector3<f64>,
    lens: &Lens,
    best: usize,
    n: usize,
    k: usize,
) -> Option<f64> {
    const GOLDEN: f64 = 0.618_033_988_749_894_8;
    let value = |turn: f64| lens.project(&curve(turn)).map(|p| outward(&p, k));
    let (mut low, mut high) = (
        (best as f64 - 1.0) / n as f64,
        (best as f64 + 1.0) / n as f64,
    );
    for _ in 0..18 {
        let (a, b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        if value(a)? > value(b)? {
            high = b;
        } else {
            low = a;
        }
    }
    value(0.5 * (low + high))
}
