//! Which fruit of a cluster is its king.
//!
//! The king grew from the flower in the middle: its stem points away from the limb between the others. In many
//! cultivars it is larger and its stem shorter; how much, the run shows: expectation-maximisation over all clusters,
//! from the settings on. A cluster may also have lost its king.

use crate::spur::{Scales, Spur};
use corymb_model::run::Class;
use nalgebra::Vector3;

/// Rounds of expectation and maximisation; the values settle in three or four.
const ROUNDS: usize = 6;
/// How many kings the settings weigh.
const PRIOR_COUNT: f64 = 10.0;
/// Log odds for a body that the detector calls a king flower, nats.
const CALLED_KING: f64 = 4.0;
/// Least standard deviation of a log ratio: measurement alone.
const LEAST_SPREAD: f64 = 0.03;
/// Largest concentration that is learned: stems bend.
const LARGEST_CONCENTRATION: f64 = 30.0;

/// What is compared within one cluster.
pub(crate) struct Candidates {
    /// Logarithm of diameters.
    sizes: Vec<f64>,
    /// Logarithm of stem lengths; empty where not every stem's near end is known.
    stems: Vec<f64>,
    /// Cosine of each stem to the middle of the cluster, where that is known.
    middles: Vec<Option<f64>>,
    called: Vec<bool>,
}

/// How kings differ in this run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct KingHabit {
    /// Share of clusters that still have theirs.
    share: f64,
    /// Logarithm of diameter, and of stem length, over the others': mean and spread among fruit of one rank.
    size: [f64; 2],
    stem: [f64; 2],
    /// Concentration of stems about the middle: kings', others'.
    middle: [f64; 2],
}

impl Candidates {
    /// The fruit `members` on `spur`, which lies to its limb as `outwards` says.
    pub(crate) fn new(
        scales: &Scales<'_>,
        classes: &[Class],
        members: &[usize],
        spur: &Spur,
        outwards: Option<Vector3<f64>>,
    ) -> Candidates {
        let chords: Vec<Vector3<f64>> = members
            .iter()
            .map(|&i| scales.fruit[i].top(&spur.at) - spur.at)
            .collect();
        let directions: Vec<Vector3<f64>> = chords
            .iter()
            .map(|c| c.try_normalize(1e-6).unwrap_or_default())
            .collect();
        // a stem that only its fruit's centre stands for has no length of its own
        let known = |i: &usize| scales.fruit[*i].stem.is_some() || scales.fruit[*i].axis.is_some();
        let stems = if members.iter().all(known) {
            chords.iter().map(|c| c.norm().max(1e-4).ln()).collect()
        } else {
            Vec::new()
        };
        Candidates {
            sizes: members
                .iter()
                .map(|&i| scales.fruit[i].diameter_m.max(1e-4).ln())
                .collect(),
            stems,
            middles: (0..members.len())
                .map(|k| middle(&directions, k, outwards))
                .collect(),
            called: members
                .iter()
                .map(|&i| classes.get(i) == Some(&Class::KingFlower))
                .collect(),
        }
    }

    /// For each member the probability that it is the king; in sum less than one, as the king may be gone.
    pub(crate) fn odds(&self, habit: &KingHabit, usual_number: f64) -> Vec<f64> {
        let n = self.sizes.len();
        let scores: Vec<f64> = (0..n).map(|k| self.score(k, habit).exp()).collect();
        // fruit of a cluster
        let count = n.max(1) as f64;
        // a fruit that is left alone may be any of its former cluster
        let (one, none) = if n == 1 {
            (habit.share / usual_number, 1.0 - habit.share / usual_number)
        } else {
            (habit.share / count, 1.0 - habit.share)
        };
        let total = none + one * scores.iter().sum::<f64>();
        scores
            .iter()
            .map(|s| if total > 0.0 { one * s / total } else { 0.0 })
            .collect()
    }

    /// Log-likelihood of the `k`-th being the king over there being none.
    fn score(&self, k: usize, habit: &KingHabit) -> f64 {
        let [king, other] = habit.middle;
        let middle = self.middles[k].map_or(0.0, |c| density(king, c) - density(other, c));
        let called = if self.called[k] { CALLED_KING } else { 0.0 };
        stands_out(&self.sizes, k, habit.size)
            + stands_out(&self.stems, k, habit.stem)
            + middle
            + called
    }
}

impl KingHabit {
    /// As the settings have it.
    pub(crate) fn prior(scales: &Scales<'_>) -> KingHabit {
        let config = scales.config;
        KingHabit {
            share: config.king_share.clamp(0.01, 0.99),
            size: [config.king_size.max(1e-3).ln(), 0.13],
            stem: [config.king_stem.max(1e-3).ln(), 0.2],
            middle: [12.0, 2.5],
        }
    }

    /// As the clusters of a run have it, drawn towards the settings.
    pub(crate) fn learn(scales: &Scales<'_>, clusters: &[Candidates]) -> KingHabit {
        let prior = KingHabit::prior(scales);
        let mut habit = prior;
        for _ in 0..ROUNDS {
            let mut size = Moments::default();
            let mut stem = Moments::default();
            let mut middle = [(0.0, 0.0); 2];
            let (mut kings, mut count) = (0.0, 0.0);
            for c in clusters.iter().filter(|c| c.sizes.len() > 1) {
                let odds = c.odds(&habit, 1.0);
                size.add(&c.sizes, &odds, habit.size[0]);
                stem.add(&c.stems, &odds, habit.stem[0]);
                for (cosine, p) in c
                    .middles
                    .iter()
                    .zip(&odds)
                    .filter_map(|(m, p)| Some(((*m)?, *p)))
                {
                    middle[0] = (middle[0].0 + p, middle[0].1 + p * cosine);
                    middle[1] = (middle[1].0 + 1.0 - p, middle[1].1 + (1.0 - p) * cosine);
                }
                kings += odds.iter().sum::<f64>();
                count += 1.0;
            }
            habit = KingHabit {
                share: (PRIOR_COUNT * prior.share + kings) / (PRIOR_COUNT + count),
                size: size.blend(prior.size),
                stem: stem.blend(prior.stem),
                middle: [
                    concentration(prior.middle[0], middle[0]),
                    concentration(prior.middle[1], middle[1]),
                ],
            };
        }
        habit
    }
}

/// Sums over clusters for one logarithm: of the king's excess, and of squares about what each explanation expects.
#[derive(Default)]
struct Moments {
    kings: f64,
    excess: f64,
    freedom: f64,
    squares: f64,
}

impl Moments {
    fn add(&mut self, logs: &[f64], odds: &[f64], mean: f64) {
        if logs.len() < 2 {
            return;
        }
        let none = 1.0 - odds.iter().sum::<f64>();
        self.squares += none * squares(logs, None);
        for (k, p) in odds.iter().enumerate() {
            self.kings += p;
            self.excess += p * excess(logs, k);
            self.squares += p * squares(logs, Some((k, mean)));
        }
        // fruit of a cluster
        let freedom = (logs.len() - 1) as f64;
        self.freedom += freedom;
    }

    fn blend(&self, [mean, spread]: [f64; 2]) -> [f64; 2] {
        let variance =
            (PRIOR_COUNT * spread * spread + self.squares) / (PRIOR_COUNT + self.freedom);
        [
            (PRIOR_COUNT * mean + self.excess) / (PRIOR_COUNT + self.kings),
            variance.max(LEAST_SPREAD * LEAST_SPREAD).sqrt(),
        ]
    }
}

/// The `k`-th over the mean of the others.
fn excess(logs: &[f64], k: usize) -> f64 {
    // fruit of a cluster
    let others = (logs.iter().sum::<f64>() - logs[k]) / (logs.len() - 1).max(1) as f64;
    logs[k] - others
}

/// Sum of squares about the mean, after one of them was taken down by what a king has over the others.
fn squares(logs: &[f64], king: Option<(usize, f64)>) -> f64 {
    let level = |(i, x): (usize, &f64)| match king {
        Some((k, mean)) if k == i => x - mean,
        _ => *x,
    };
    // fruit of a cluster
    let mean = logs.iter().enumerate().map(level).sum::<f64>() / logs.len() as f64;
    logs.iter()
        .enumerate()
        .map(level)
        .map(|x| (x - mean).powi(2))
        .sum()
}

/// Log-likelihood of one logarithm standing out as a king's does over none standing out.
fn stands_out(logs: &[f64], k: usize, [mean, spread]: [f64; 2]) -> f64 {
    if logs.len() < 2 {
        return 0.0;
    }
    (squares(logs, None) - squares(logs, Some((k, mean)))) / (2.0 * spread * spread)
}

/// Cosine of a stem to the middle: where the others point on average, and away from the limb.
fn middle(directions: &[Vector3<f64>], k: usize, outwards: Option<Vector3<f64>>) -> Option<f64> {
    let others = directions
        .iter()
        .enumerate()
        .filter(|(j, _)| *j != k)
        .map(|(_, d)| d)
        .sum::<Vector3<f64>>();
    let middle = match (others.try_normalize(1e-6), outwards) {
        (Some(m), Some(o)) => (m + 2.0 * o).try_normalize(1e-6),
        (m, o) => m.or(o),
    };
    middle.map(|m| directions[k].dot(&m))
}

/// Log density of a von Mises-Fisher distribution at a cosine, but for 2 pi.
fn density(concentration: f64, cosine: f64) -> f64 {
    (concentration / (1.0 - (-2.0 * concentration).exp())).ln() + concentration * (cosine - 1.0)
}

/// Concentration from (weight, weighted sum of cosines), drawn towards a prior.
fn concentration(prior: f64, (weight, sum): (f64, f64)) -> f64 {
    if weight <= 0.0 {
        return prior;
    }
    let mean = (sum / weight).clamp(0.05, 0.97);
    let seen = crate::learn::concentration_of(mean).min(LARGEST_CONCENTRATION);
    (PRIOR_COUNT * prior + weight * seen) / (PRIOR_COUNT + weight)
}
