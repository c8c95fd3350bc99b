//! Which fruit of a cluster is its king.
//!
//! The king grew from the flower in the middle: its stem points away from the limb between the others, and in many
//! cultivars it is the largest. Both are weighed against a fruit of no rank; a cluster may also have lost its king.

use crate::learn::size_ratio;
use crate::spur::Scales;
use nalgebra::Vector3;

/// Concentration (von Mises-Fisher) of a king's stem about the middle of its cluster.
const KING_CONCENTRATION: f64 = 12.0;
/// The same of other stems.
const OTHER_CONCENTRATION: f64 = 2.5;
/// Standard deviation of the logarithm of a diameter among fruit of one rank.
const SIZE_SPREAD: f64 = 0.13;

/// For each member the probability that it is the king; in sum less than one, as the king may be gone.
pub(crate) fn king(
    scales: &Scales<'_>,
    members: &[usize],
    spur: &Vector3<f64>,
    outwards: Option<Vector3<f64>>,
) -> Vec<f64> {
    let directions: Vec<Vector3<f64>> = members
        .iter()
        .map(|&i| {
            (scales.fruit[i].top(spur) - spur)
                .try_normalize(1e-6)
                .unwrap_or_default()
        })
        .collect();
    let scores: Vec<f64> = (0..members.len())
        .map(|k| {
            let size = if members.len() > 1 {
                size_score(scales, members, k)
            } else {
                0.0
            };
            (size + middle_score(&directions, k, outwards)).exp()
        })
        .collect();
    let share = scales.config.king_share.clamp(0.0, 1.0);
    #[allow(clippy::cast_precision_loss)] // fruit of a cluster
    let one = share / members.len().max(1) as f64;
    // a fruit that is left alone may be any of its former cluster
    let (one, none) = if members.len() == 1 {
        (
            share / usual_number(scales),
            1.0 - share / usual_number(scales),
        )
    } else {
        (one, 1.0 - share)
    };
    let total = none + one * scores.iter().sum::<f64>();
    scores
        .iter()
        .map(|s| if total > 0.0 { one * s / total } else { 0.0 })
        .collect()
}

fn usual_number(scales: &Scales<'_>) -> f64 {
    #[allow(clippy::cast_precision_loss)] // eight at most
    let mean: f64 = scales
        .habit
        .sizes
        .iter()
        .enumerate()
        .map(|(k, s)| (k + 1) as f64 * s)
        .sum();
    mean.max(1.0)
}

/// Log-likelihood of the diameter for a king over that for another fruit.
fn size_score(scales: &Scales<'_>, members: &[usize], k: usize) -> f64 {
    let ratio = size_ratio(scales, members, k).ln();
    let larger = scales.habit.king_size.max(1e-3).ln();
    #[allow(clippy::cast_precision_loss)] // fruit of a cluster
    let variance = SIZE_SPREAD * SIZE_SPREAD * (1.0 + 1.0 / (members.len() - 1).max(1) as f64);
    (ratio * ratio - (ratio - larger).powi(2)) / (2.0 * variance)
}

/// Log-likelihood of the stem's direction for a king over that for another fruit: the middle is where the others point
/// on average, and away from the limb.
fn middle_score(directions: &[Vector3<f64>], k: usize, outwards: Option<Vector3<f64>>) -> f64 {
    let others = directions
        .iter()
        .enumerate()
        .filter(|(j, _)| *j != k)
        .map(|(_, d)| d)
        .sum::<Vector3<f64>>();
    let mean = others.try_normalize(1e-6);
    let middle = match (mean, outwards) {
        (Some(m), Some(o)) => (m + 2.0 * o).try_normalize(1e-6),
        (m, o) => m.or(o),
    };
    let Some(middle) = middle else { return 0.0 };
    let density =
        |c: f64| (c / (1.0 - (-2.0 * c).exp())).ln() + c * (directions[k].dot(&middle) - 1.0);
    density(KING_CONCENTRATION) - density(OTHER_CONCENTRATION)
}
