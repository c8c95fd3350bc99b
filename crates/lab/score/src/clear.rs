//! Tracks of boxes against true tracks at one overlap: the CLEAR figures and identity F1.

use crate::pairing::best_pairs;
use crate::tracking::TrackedFrame;
use std::collections::{BTreeMap, BTreeSet};

/// The CLEAR figures of a sequence.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ClearMot {
    /// True boxes.
    pub truth: usize,
    /// Claimed boxes.
    pub claims: usize,
    /// Pairs.
    pub pairs: usize,
    /// True boxes whose identity was last paired with another claimed identity.
    pub switches: usize,
    /// How often a true track goes from paired to missed and is paired again later.
    pub fragmentations: usize,
    /// Sum of the overlap of the pairs.
    pub overlap_sum: f64,
}

impl ClearMot {
    /// True boxes without a pair.
    #[must_use]
    pub fn misses(&self) -> usize {
        self.truth - self.pairs
    }

    /// Claimed boxes without a pair.
    #[must_use]
    pub fn false_ones(&self) -> usize {
        self.claims - self.pairs
    }

    /// 1 - (misses + false + switches) / true boxes; can be negative; `None` without true boxes.
    #[must_use]
    pub fn mota(&self) -> Option<f64> {
        let errors = self.misses() + self.false_ones() + self.switches;
        (self.truth > 0).then(|| 1.0 - errors as f64 / self.truth as f64)
    }

    /// Mean overlap of the pairs; `None` without any. (Where MOTP is given as a distance, it is one less this.)
    #[must_use]
    pub fn motp(&self) -> Option<f64> {
        (self.pairs > 0).then(|| self.overlap_sum / self.pairs as f64)
    }
}

/// The CLEAR figures where at least `least_overlap` is asked for. A true identity keeps the claimed one that it was last
/// paired with for as long as the two overlap enough; of all pairs of the rest the most, and among these those of most
/// overlap, are taken. O(images x boxes^2), and the assignment of each group of boxes that overlap.
///
/// Source: K. Bernardin and R. Stiefelhagen, "Evaluating multiple object tracking performance: the CLEAR MOT metrics",
/// EURASIP Journal on Image and Video Processing 2008, sec. 2.1.2 and 2.1.3; fragmentations: Y. Li, C. Huang and R.
/// Nevatia, CVPR 2009, sec. 4.
#[must_use]
pub fn clear_mot(frames: &[TrackedFrame], least_overlap: f64) -> ClearMot {
    let mut clear = ClearMot::default();
    let mut last = BTreeMap::<usize, usize>::new();
    let mut tracked = BTreeMap::<usize, Vec<bool>>::new();
    for frame in frames {
        let pairs = pairs_of(frame, least_overlap, &last);
        clear.truth += frame.truth.len();
        clear.claims += frame.claims.len();
        clear.pairs += pairs.len();
        let mut paired = vec![false; frame.truth.len()];
        for (i, j, shared) in pairs {
            let (truth, claim) = (frame.truth[i].id, frame.claims[j].id);
            paired[i] = true;
            clear.overlap_sum += shared;
            clear.switches += usize::from(last.insert(truth, claim).is_some_and(|p| p != claim));
        }
        for (truth, paired) in frame.truth.iter().zip(paired) {
            tracked.entry(truth.id).or_default().push(paired);
        }
    }
    clear.fragmentations = tracked.values().map(|track| gaps(track)).sum();
    clear
}

/// Pairs of an image: (position in truth, position in claims, overlap).
fn pairs_of(
    frame: &TrackedFrame,
    least_overlap: f64,
    last: &BTreeMap<usize, usize>,
) -> Vec<(usize, usize, f64)> {
    let mut open = frame.overlaps();
    open.retain(|o| o.2 >= least_overlap);
    let (mut used_truth, mut used_claims) = (BTreeSet::new(), BTreeSet::new());
    let mut pairs = Vec::new();
    for &(i, j, shared) in &open {
        let as_before = last.get(&frame.truth[i].id) == Some(&frame.claims[j].id);
        if as_before && !used_truth.contains(&i) && !used_claims.contains(&j) {
            used_truth.insert(i);
            used_claims.insert(j);
            pairs.push((i, j, shared));
        }
    }
    open.retain(|o| !used_truth.contains(&o.0) && !used_claims.contains(&o.1));
    // more than any sum of overlaps that one further pair could cost
    let a_pair = 1.0 + frame.truth.len() as f64;
    let edges: Vec<(usize, usize, f64)> = open.iter().map(|o| (o.0, o.1, -o.2 - a_pair)).collect();
    let shared: BTreeMap<(usize, usize), f64> = open.iter().map(|o| ((o.0, o.1), o.2)).collect();
    let rest = best_pairs(&edges);
    pairs.extend(
        rest.iter()
            .filter_map(|pair| Some((pair.0, pair.1, *shared.get(pair)?))),
    );
    pairs
}

/// Times that a track is lost between its first and its last pair.
fn gaps(paired: &[bool]) -> usize {
    let first = paired.iter().position(|&p| p).unwrap_or(0);
    let last = paired.iter().rposition(|&p| p).unwrap_or(0);
    let within = paired.get(first..=last).unwrap_or_default();
    within.windows(2).filter(|w| w[0] && !w[1]).count()
}

/// Boxes under the best one-to-one map between true and claimed identities.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct IdentityBoxes {
    /// True boxes.
    pub truth: usize,
    /// Claimed boxes.
    pub claims: usize,
    /// Boxes that overlap enough and whose identities are mapped to each other (IDTP).
    pub right: usize,
}

impl IdentityBoxes {
    /// IDP, `None` without claims.
    #[must_use]
    pub fn precision(&self) -> Option<f64> {
        (self.claims > 0).then(|| self.right as f64 / self.claims as f64)
    }

    /// IDR, `None` without true boxes.
    #[must_use]
    pub fn recall(&self) -> Option<f64> {
        (self.truth > 0).then(|| self.right as f64 / self.truth as f64)
    }

    /// IDF1, `None` without boxes.
    #[must_use]
    pub fn f1(&self) -> Option<f64> {
        let all = self.truth + self.claims;
        (all > 0).then(|| 2.0 * self.right as f64 / all as f64)
    }
}

/// Identity precision and recall where at least `least_overlap` is asked for. O(images x boxes^2), and the assignment of
/// each group of identities that ever overlap.
///
/// Source: E. Ristani et al., "Performance measures and a data set for multi-target, multi-camera tracking", ECCV
/// Workshops 2016, sec. 3 and eq. 8 to 11.
#[must_use]
pub fn identity_boxes(frames: &[TrackedFrame], least_overlap: f64) -> IdentityBoxes {
    let mut together = BTreeMap::<(usize, usize), usize>::new();
    let mut boxes = IdentityBoxes::default();
    for frame in frames {
        boxes.truth += frame.truth.len();
        boxes.claims += frame.claims.len();
        // a set: two identities meet once in an image, also where one of them stands in it twice
        let meet: BTreeSet<(usize, usize)> = (frame.overlaps().iter())
            .filter(|o| o.2 >= least_overlap)
            .map(|o| (frame.truth[o.0].id, frame.claims[o.1].id))
            .collect();
        for ids in meet {
            *together.entry(ids).or_default() += 1;
        }
    }
    let edges: Vec<(usize, usize, f64)> = (together.iter())
        .map(|(&(truth, claim), &n)| (truth, claim, -(n as f64)))
        .collect();
    boxes.right = best_pairs(&edges)
        .iter()
        .filter_map(|ids| together.get(ids))
        .sum();
    boxes
}
