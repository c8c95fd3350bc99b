//! Whether two variants differ by more than chance: a paired permutation test over units.
//!
//! If the variants were the same, either side of a unit could as well be the other's. So the two sides of units are
//! exchanged in all ways (or many random ones), and it is counted how often the figures then differ at least as much as
//! they do. For a figure with equal denominators this is the flip of the signs of the units' differences.
//!
//! Sources: E. J. G. Pitman, "Significance tests which may be applied to samples from any populations", JRSS Supplement
//! 4 (1937), pp. 119-130; P. Good, "Permutation, Parametric and Bootstrap Tests of Hypotheses", 3rd ed. (2005), sec. 3.2 on
//! matched pairs (section from memory); for random flips (1 + hits) / (1 + flips): B. Phipson and G. K. Smyth,
//! "Permutation p-values should never be zero", SAGMB 9 (2010).

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Most units with a difference for which all exchanges are gone through: 2^15 of them.
pub const MAX_EXACT_UNITS: usize = 15;
/// Random exchanges where there are more.
pub const RANDOM_FLIPS: usize = 10_000;
/// Seed of the random exchanges.
const SEED: u64 = 1937;

/// What a unit adds above and below the line of a figure: of the first variant, of the other.
pub type UnitPair = [(f64, f64); 2];

/// The result of a test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exchange {
    /// Share of the exchanges whose difference is at least as large; two-sided.
    pub p: f64,
    /// Units in which the two sides differ; the others have no say.
    pub units_differing: usize,
    /// All exchanges were gone through.
    pub exact: bool,
}

/// Tests the difference of a figure between two variants; `figure` is formed from the sums above and below the line.
/// `None` where the difference itself is not defined. An exchange that leaves nothing below the line counts as one that
/// differs as much, which errs on the safe side. O(flips x units).
#[must_use]
pub fn exchange_test(
    units: &[UnitPair],
    figure: impl Fn((f64, f64)) -> Option<f64>,
) -> Option<Exchange> {
    let difference = |first, other| Some(figure(other)? - figure(first)?);
    let (mut first, mut other) = ((0.0, 0.0), (0.0, 0.0));
    for [one, two] in units {
        (first, other) = (plus(first, *one), plus(other, *two));
    }
    let found = difference(first, other)?.abs();
    // rounding must not make an exchange that is the same in truth count as smaller
    let bar = found - 1e-9 * found.max(1e-9);
    let steps: Vec<(f64, f64)> = units
        .iter()
        .map(|[one, two]| (two.0 - one.0, two.1 - one.1))
        .filter(|step| *step != (0.0, 0.0))
        .collect();
    let as_large = |flipped: &mut dyn FnMut(usize) -> bool| {
        let mut moved = (0.0, 0.0);
        for (at, step) in steps.iter().enumerate() {
            if flipped(at) {
                moved = plus(moved, *step);
            }
        }
        let back = (other.0 - moved.0, other.1 - moved.1);
        difference(plus(first, moved), back).is_none_or(|d| d.abs() >= bar)
    };
    let exact = steps.len() <= MAX_EXACT_UNITS;
    let p = if exact {
        let all = 1_u64 << steps.len();
        let hits = (0..all)
            .filter(|flips| as_large(&mut |at| flips >> at & 1 == 1))
            .count();
        hits as f64 / all as f64
    } else {
        let mut coins = Coins::new();
        let hits = (0..RANDOM_FLIPS)
            .filter(|_| as_large(&mut |_| coins.toss()))
            .count();
        (hits + 1) as f64 / (RANDOM_FLIPS + 1) as f64
    };
    Some(Exchange {
        p,
        units_differing: steps.len(),
        exact,
    })
}

fn plus(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 + b.0, a.1 + b.1)
}

/// Fair coins, 64 from each random number.
struct Coins {
    rng: ChaCha8Rng,
    bits: u64,
    left: u32,
}

impl Coins {
    fn new() -> Self {
        Self {
            rng: ChaCha8Rng::seed_from_u64(SEED),
            bits: 0,
            left: 0,
        }
    }

    fn toss(&mut self) -> bool {
        if self.left == 0 {
            (self.bits, self.left) = (self.rng.next_u64(), 64);
        }
        let coin = self.bits & 1 == 1;
        self.bits >>= 1;
        self.left -= 1;
        coin
    }
}
