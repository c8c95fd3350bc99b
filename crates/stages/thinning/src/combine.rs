//! Joining limbs: how many fruit are meant to stay on each, by max-plus convolution over the number of fruit.

use crate::score::{Score, Verdict};

/// The number of fruit for each of `limbs` that is best together, under a bound of `to_leave` fruit where there is one.
/// `limbs[l][n]` is the best score of limb `l` with `n` fruit. Every limb must offer something. Without a bound limbs
/// do not compete and each takes its own best; with one, O(fruit squared).
pub(crate) fn counts(limbs: &[Vec<Option<Score>>], to_leave: Option<usize>) -> Vec<usize> {
    if to_leave.is_none() {
        return limbs.iter().map(|limb| best(limb, None)).collect();
    }
    let mut total: Vec<Option<Score>> = vec![Some(Score::default())];
    let mut taken: Vec<Vec<usize>> = Vec::with_capacity(limbs.len());
    for limb in limbs {
        let (next, counts) = convolve(&total, limb);
        total = next;
        taken.push(counts);
    }
    let mut left = best(&total, to_leave);
    let mut counts = vec![0; limbs.len()];
    for (slot, taken) in counts.iter_mut().zip(&taken).rev() {
        *slot = taken.get(left).copied().unwrap_or(0);
        left -= *slot;
    }
    counts
}

/// The best number of fruit.
fn best(scores: &[Option<Score>], to_leave: Option<usize>) -> usize {
    let offers = scores
        .iter()
        .enumerate()
        .filter_map(|(n, score)| Some((n, (*score)?)));
    let verdicts = offers.map(|(n, score)| (Verdict::of(n, score, to_leave), n));
    verdicts
        .max_by_key(|(verdict, _)| *verdict)
        .map_or(0, |(_, n)| n)
}

/// Best score of `total` and `limb` together by number of fruit, and how many of them are the limb's.
fn convolve(total: &[Option<Score>], limb: &[Option<Score>]) -> (Vec<Option<Score>>, Vec<usize>) {
    let len = (total.len() + limb.len()).saturating_sub(1);
    let mut best: Vec<Option<Score>> = vec![None; len];
    let mut taken = vec![0; len];
    for (m, of_limb) in limb.iter().enumerate() {
        let Some(of_limb) = *of_limb else { continue };
        for (n, of_total) in total.iter().enumerate() {
            let Some(of_total) = *of_total else { continue };
            let score = of_total + of_limb;
            if best[n + m].is_none_or(|held| score > held) {
                best[n + m] = Some(score);
                taken[n + m] = m;
            }
        }
    }
    (best, taken)
}
