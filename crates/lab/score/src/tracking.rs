//! Tracks of boxes against true tracks, swept over the overlap that is asked for: the HOTA of the tracking literature.
//!
//! Source: J. Luiten et al., "HOTA: a higher order metric for evaluating multi-object tracking", IJCV 129 (2021), sec. 5;
//! the choice of pairs in each image (eq. 11 and its text) and what counts where nothing is paired are as in the
//! authors' code: there the association is 0 and the localisation 1.

use crate::overlap::overlap;
use crate::pairing::best_pairs;
use std::collections::BTreeMap;

/// Number of overlaps that are swept.
const ALPHAS: usize = 19;
/// Overlap by which a pair may fall short, for rounding.
const TINY: f64 = f64::EPSILON;

/// A box with its identity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackedBox {
    /// Identity, among the true ones or among the claimed ones.
    pub id: usize,
    /// x0, y0, x1, y1, pixels.
    pub box_px: [f64; 4],
}

/// The boxes of an image. An identity stands in it once, as a rule.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TrackedFrame {
    /// True boxes.
    pub truth: Vec<TrackedBox>,
    /// Claimed boxes.
    pub claims: Vec<TrackedBox>,
}

impl TrackedFrame {
    /// Pairs of boxes that overlap, (position in truth, position in claims, overlap), ascending.
    pub(crate) fn overlaps(&self) -> Vec<(usize, usize, f64)> {
        let mut pairs = Vec::new();
        for (i, truth) in self.truth.iter().enumerate() {
            for (j, claim) in self.claims.iter().enumerate() {
                let shared = overlap(&truth.box_px, &claim.box_px);
                if shared > 0.0 {
                    pairs.push((i, j, shared));
                }
            }
        }
        pairs
    }
}

/// HOTA at one overlap, or the mean over all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HotaParts {
    /// sqrt(DetA AssA).
    pub hota: f64,
    /// |TP| / (|TP| + |FN| + |FP|).
    pub det_a: f64,
    /// Mean over the pairs of |TPA| / (|TPA| + |FNA| + |FPA|).
    pub ass_a: f64,
    /// Mean overlap of the pairs.
    pub loc_a: f64,
}

/// HOTA over all overlaps.
#[derive(Debug, Clone, PartialEq)]
pub struct SweptHota {
    /// The overlap asked for, 0.05 to 0.95, with its parts.
    pub at: Vec<(f64, HotaParts)>,
    /// Their mean.
    pub mean: HotaParts,
}

/// How often each identity and each couple of identities occurs.
#[derive(Default)]
struct Occurrence {
    truth: BTreeMap<usize, f64>,
    claims: BTreeMap<usize, f64>,
    /// Sum over the images of the overlap, relative to all that the two boxes overlap with.
    shared: BTreeMap<(usize, usize), f64>,
}

/// Swept HOTA of a sequence; `None` where it has no box at all. O(images x boxes^2) for the overlaps, and the assignment
/// of each group of boxes that overlap.
#[must_use]
pub fn swept_hota(frames: &[TrackedFrame]) -> Option<SweptHota> {
    let boxes: usize = frames.iter().map(|f| f.truth.len() + f.claims.len()).sum();
    if boxes == 0 {
        return None;
    }
    let overlaps: Vec<Vec<(usize, usize, f64)>> =
        frames.iter().map(TrackedFrame::overlaps).collect();
    let occurrence = Occurrence::of(frames, &overlaps);
    let mut pairs = Vec::new();
    for (frame, overlaps) in frames.iter().zip(&overlaps) {
        pairs.extend(occurrence.pairs(frame, overlaps));
    }
    let at: Vec<(f64, HotaParts)> = (1..=ALPHAS)
        .map(|k| 0.05 * k as f64)
        .map(|alpha| (alpha, occurrence.parts(&pairs, alpha)))
        .collect();
    let mean =
        |of: fn(&HotaParts) -> f64| at.iter().map(|(_, p)| of(p)).sum::<f64>() / ALPHAS as f64;
    let mean = HotaParts {
        hota: mean(|p| p.hota),
        det_a: mean(|p| p.det_a),
        ass_a: mean(|p| p.ass_a),
        loc_a: mean(|p| p.loc_a),
    };
    Some(SweptHota { at, mean })
}

/// Two boxes held to be the same: true and claimed identity, and their overlap.
type Pair = (usize, usize, f64);

impl Occurrence {
    fn of(frames: &[TrackedFrame], overlaps: &[Vec<(usize, usize, f64)>]) -> Self {
        let mut all = Self::default();
        for (frame, overlaps) in frames.iter().zip(overlaps) {
            let mut of_truth = vec![0.0; frame.truth.len()];
            let mut of_claim = vec![0.0; frame.claims.len()];
            for &(i, j, shared) in overlaps {
                of_truth[i] += shared;
                of_claim[j] += shared;
            }
            for &(i, j, shared) in overlaps {
                let ids = (frame.truth[i].id, frame.claims[j].id);
                *all.shared.entry(ids).or_default() +=
                    shared / (of_truth[i] + of_claim[j] - shared);
            }
            for truth in &frame.truth {
                *all.truth.entry(truth.id).or_default() += 1.0;
            }
            for claim in &frame.claims {
                *all.claims.entry(claim.id).or_default() += 1.0;
            }
        }
        all
    }

    fn either(&self, truth: usize, claim: usize) -> f64 {
        let of = |table: &BTreeMap<usize, f64>, id: usize| table.get(&id).copied().unwrap_or(0.0);
        of(&self.truth, truth) + of(&self.claims, claim)
    }

    /// The pairs of an image: those of the greatest sum of overlap times how well the two identities go together.
    fn pairs(&self, frame: &TrackedFrame, overlaps: &[(usize, usize, f64)]) -> Vec<Pair> {
        let alignment = |truth: usize, claim: usize| {
            let together = self.shared.get(&(truth, claim)).copied().unwrap_or(0.0);
            together / (self.either(truth, claim) - together)
        };
        let edges: Vec<(usize, usize, f64)> = overlaps
            .iter()
            .map(|&(i, j, shared)| {
                (
                    i,
                    j,
                    -shared * alignment(frame.truth[i].id, frame.claims[j].id),
                )
            })
            .collect();
        best_pairs(&edges)
            .into_iter()
            .map(|(i, j)| {
                let shared = overlap(&frame.truth[i].box_px, &frame.claims[j].box_px);
                (frame.truth[i].id, frame.claims[j].id, shared)
            })
            .collect()
    }

    fn parts(&self, pairs: &[Pair], alpha: f64) -> HotaParts {
        let mut together = BTreeMap::<(usize, usize), f64>::new();
        let (mut n, mut shared_sum) = (0.0, 0.0);
        for &(truth, claim, shared) in pairs.iter().filter(|p| p.2 >= alpha - TINY) {
            *together.entry((truth, claim)).or_default() += 1.0;
            n += 1.0;
            shared_sum += shared;
        }
        let boxes: f64 = self.truth.values().sum::<f64>() + self.claims.values().sum::<f64>();
        let association = |(&(truth, claim), &tpa): (&(usize, usize), &f64)| {
            tpa * tpa / (self.either(truth, claim) - tpa)
        };
        let associated: f64 = together.iter().map(association).sum();
        let det_a = n / (boxes - n);
        let (ass_a, loc_a) = if n > 0.0 {
            (associated / n, shared_sum / n)
        } else {
            (0.0, 1.0)
        };
        HotaParts {
            hota: (det_a * ass_a).sqrt(),
            det_a,
            ass_a,
            loc_a,
        }
    }
}
