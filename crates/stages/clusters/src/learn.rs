//! What the clusters of a run show about how its fruit hangs.
//!
//! Medians over what is sure (clusters of two and more with a stem seen to its end), drawn towards the settings by
//! [`PRIOR_COUNT`] observations' weight.

use crate::habit::{Habit, MOST_COUNTED, feet};
use crate::search::Partition;
use crate::spur::Scales;
use crate::stem::StemReading;
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// How many observations a setting weighs.
const PRIOR_COUNT: f64 = 15.0;
/// Axes known better than this show how stems bend, radians.
const SURE_AXIS: f64 = 0.2;
/// The parameters that a partition shows, drawn towards `prior`.
pub(crate) fn learn(scales: &Scales<'_>, partition: &Partition, prior: &Habit) -> Habit {
    let mut seen = Seen::default();
    for members in partition {
        seen.add(scales, members);
    }
    let mut habit = prior.clone();
    habit.length_m = pair(prior.length_m, &mut seen.lengths);
    habit.height_m = pair(prior.height_m, &mut seen.heights);
    habit.sag = one(prior.sag, &mut seen.sags);
    habit.outward = concentration(prior.outward, &seen.outward);
    let (gaps, extent) = seen.gaps();
    habit.spurs_per_m = (PRIOR_COUNT + gaps) / (PRIOR_COUNT / prior.spurs_per_m + extent);
    let total: f64 = PRIOR_COUNT + seen.sizes.iter().sum::<f64>();
    for (share, (before, count)) in habit
        .sizes
        .iter_mut()
        .zip(prior.sizes.iter().zip(seen.sizes))
    {
        *share = (PRIOR_COUNT * before + count) / total;
    }
    habit
}

#[derive(Default)]
struct Seen {
    lengths: Vec<f64>,
    heights: Vec<f64>,
    sags: Vec<f64>,
    /// Cosines of stems to the outward direction of their limb.
    outward: Vec<f64>,
    sizes: [f64; MOST_COUNTED],
    /// Distances of spurs from the base, by limb.
    along: BTreeMap<usize, Vec<f64>>,
}

impl Seen {
    fn add(&mut self, scales: &Scales<'_>, members: &[usize]) {
        self.sizes[members.len().clamp(1, MOST_COUNTED) - 1] += 1.0;
        let settled = scales.weigh(members);
        let spur = settled.at;
        let feet = feet(&spur, &scales.near[members[0]]);
        let densest = feet.into_iter().max_by(|a, b| {
            scales
                .habit
                .limb_density(a)
                .total_cmp(&scales.habit.limb_density(b))
        });
        if let Some(foot) = densest {
            self.along.entry(foot.limb).or_default().push(foot.along_m);
        }
        let whole = |i: &&usize| {
            scales.fruit[**i].reading(&spur, settled.cover, &scales.habit, scales.config)
                == StemReading::Whole
        };
        if members.len() < 2 || !members.iter().any(|i| whole(&i)) {
            return;
        }
        let along = |i: usize| {
            (scales.fruit[i].top(&spur) - spur)
                .try_normalize(1e-6)
                .unwrap_or_default()
        };
        for &i in members.iter().filter(whole) {
            self.lengths
                .push((scales.fruit[i].top(&spur) - spur).norm());
            self.add_sag(scales, i, &along(i));
        }
        if let Some(foot) = densest {
            self.heights.push(foot.height_m);
            self.outward
                .extend(members.iter().map(|&i| along(i).dot(&foot.outwards)));
        }
    }

    fn add_sag(&mut self, scales: &Scales<'_>, i: usize, along: &Vector3<f64>) {
        let Some((axis, deviation)) = scales.fruit[i].axis else {
            return;
        };
        let rise = Vector3::z() - along * along.z;
        if deviation < SURE_AXIS && rise.norm_squared() > 0.25 && axis.dot(along) > 0.5 {
            self.sags
                .push(-(axis - along).dot(&rise) / (4.0 * rise.norm_squared()));
        }
    }

    /// Number and total length of the gaps between spurs along limbs.
    fn gaps(&self) -> (f64, f64) {
        let (mut gaps, mut extent) = (0.0, 0.0);
        for along in self.along.values() {
            let low = along.iter().copied().fold(f64::INFINITY, f64::min);
            let high = along.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            // spurs of a limb
            let count = along.len() as f64;
            gaps += count - 1.0;
            extent += high - low;
        }
        (gaps, extent)
    }
}

fn blend(prior: f64, seen: f64, count: usize) -> f64 {
    // counts of fruit
    let n = count as f64;
    (PRIOR_COUNT * prior + n * seen) / (PRIOR_COUNT + n)
}

fn one(prior: f64, values: &mut [f64]) -> f64 {
    median(values).map_or(prior, |m| blend(prior, m, values.len()))
}

/// Median and spread.
fn pair(prior: [f64; 2], values: &mut [f64]) -> [f64; 2] {
    let Some(m) = median(values) else {
        return prior;
    };
    let mut away: Vec<f64> = values.iter().map(|v| (v - m).abs()).collect();
    let spread = 1.4826 * median(&mut away).unwrap_or_default();
    // a spread from few values may be nothing by chance
    [
        blend(prior[0], m, values.len()),
        blend(prior[1], spread, values.len()).max(0.1 * prior[1]),
    ]
}

fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Concentration of these cosines to the mean direction, drawn towards a prior.
fn concentration(prior: f64, cosines: &[f64]) -> f64 {
    if cosines.is_empty() {
        return prior;
    }
    // counts of fruit
    let mean = (cosines.iter().sum::<f64>() / cosines.len() as f64).clamp(0.0, 0.95);
    blend(prior, concentration_of(mean), cosines.len())
}

/// Concentration of a von Mises-Fisher distribution with this mean cosine (Sra, "A short note on parameter
/// approximation for von Mises-Fisher distributions", Comput. Stat. 27, 2012, equation 4).
pub(crate) fn concentration_of(mean: f64) -> f64 {
    mean * (3.0 - mean * mean) / (1.0 - mean * mean)
}
