//! Which boxes are the same fruit: the map's claims against the labels, box by box.
//!
//! A true identity is a fruitlet of the truth, a claimed one a fruitlet of the map. No overlap of boxes is involved:
//! truth and map speak of the same boxes, so a box is right when it has both identities (the measures of the tracking
//! literature with the identity of boxes in the place of their overlap).

use crate::figure::Figure;
use crate::labels::{LabelledBox, Labels};
use crate::pairing::best_pairs;
use crate::partition::pairs;
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::run::{BoxRef, Class};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Association of every kind of box.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AssociationScores {
    /// Boxes that more than one map fruitlet claims; the surest fruitlet has them.
    pub boxes_claimed_twice: usize,
    /// Claimed boxes that are not in the run.
    pub unknown_boxes_claimed: usize,
    /// Boxes of bodies.
    pub bodies: BoxAssociation,
    /// Boxes of stems; true and claimed identity are those of the fruitlet that the stem belongs to.
    pub stems: BoxAssociation,
    /// Boxes of calyx ends.
    pub calyces: BoxAssociation,
}

/// How well boxes are gathered into identities.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoxAssociation {
    /// Boxes that show a considered true fruitlet.
    pub boxes_true: usize,
    /// Boxes that the map claims (without those that show fruit seen only once).
    pub boxes_claimed: usize,
    /// Boxes with both identities.
    pub boxes_both: usize,
    /// |TP| / (|TP| + |FN| + |FP|).
    pub det_a: Figure,
    /// Mean over the boxes with both identities of |TPA| / (|TPA| + |FNA| + |FPA|).
    pub ass_a: Figure,
    /// Identity HOTA, sqrt(DetA AssA).
    pub hota: Figure,
    /// Share of boxes with the right identity under the best one-to-one map between identities, 2 IDTP / (true + claimed).
    pub idf1: Figure,
    /// F1 over the pairs of boxes that share an identity.
    pub pairwise_f1: Figure,
    /// 1 - (misses + false claims + switches) / true boxes; can be negative.
    pub mota: Figure,
    /// Boxes of a true fruitlet whose claimed identity is not that of its last claimed box.
    pub identity_switches: usize,
}

/// The map fruitlet that claims each box: position in `CropMap::fruitlets`.
pub(crate) struct Claims {
    of: BTreeMap<BoxRef, usize>,
    twice: usize,
    unknown: usize,
}

impl Claims {
    /// The claims of the fruitlets that get decisions. O(claims log claims).
    pub(crate) fn of(map: &CropMap, is_known: impl Fn(BoxRef) -> bool) -> Self {
        let decided = map
            .fruitlets
            .iter()
            .enumerate()
            .filter(|(_, f)| f.is_decided());
        let mut surest_first: Vec<(usize, &Fruitlet)> = decided.collect();
        surest_first.sort_by(|a, b| b.1.existence.total_cmp(&a.1.existence).then(a.0.cmp(&b.0)));
        let mut claims = Self {
            of: BTreeMap::new(),
            twice: 0,
            unknown: 0,
        };
        for (k, fruitlet) in surest_first {
            for &(at, _) in &fruitlet.detections {
                if claims.of.contains_key(&at) {
                    claims.twice += 1;
                    continue;
                }
                claims.unknown += usize::from(!is_known(at));
                claims.of.insert(at, k);
            }
        }
        claims
    }

    /// Who claims a box.
    pub(crate) fn owner(&self, at: BoxRef) -> Option<usize> {
        self.of.get(&at).copied()
    }
}

/// Scores the claims of every kind of box.
pub(crate) fn association(claims: &Claims, labels: &Labels<'_>) -> AssociationScores {
    let of_kind = |wanted: &dyn Fn(Class) -> bool| {
        let name = |b: LabelledBox| (b.shows, claims.owner(b.at));
        box_association(
            &labels
                .boxes(wanted)
                .into_iter()
                .map(name)
                .collect::<Vec<_>>(),
        )
    };
    AssociationScores {
        boxes_claimed_twice: claims.twice,
        unknown_boxes_claimed: claims.unknown,
        bodies: of_kind(&Class::is_body),
        stems: of_kind(&|c| c == Class::Stem),
        calyces: of_kind(&|c| c == Class::Calyx),
    }
}

/// From the true and the claimed identity of each box, in the order of time. O(boxes log boxes) but for the
/// assignment of IDF1.
///
/// Sources: J. Luiten et al., "HOTA: a higher order metric for evaluating multi-object tracking", IJCV 129 (2021),
/// eq. 1 and 2 (one threshold: identity is right or wrong); E. Ristani et al., "Performance measures and a data set for
/// multi-target, multi-camera tracking", ECCV Workshops 2016, eq. 8 to 11; K. Bernardin and R. Stiefelhagen,
/// "Evaluating multiple object tracking performance: the CLEAR MOT metrics", JIVP 2008, sec. 2.1.
#[must_use]
pub fn box_association(boxes: &[(Option<usize>, Option<usize>)]) -> BoxAssociation {
    let table = Identities::of(boxes);
    let (both, truth, claimed) = (
        table.both_total(),
        table.true_total(),
        table.claimed_total(),
    );
    let either = truth + claimed - both;
    let none = "no box is labelled with a fruitlet and none is claimed";
    let det_a = Figure::ratio(both as f64, either as f64, either, none);
    let ass_a = Figure::ratio(
        table.association_sum(),
        both as f64,
        both,
        "no box has a true and a claimed identity",
    );
    // without any right box there is no association to speak of, and HOTA is zero by eq. 1
    let product = det_a.value.map(|d| d * ass_a.value.unwrap_or(0.0));
    let (pairs_both, pairs_true, pairs_claimed) = table.pair_counts();
    let switches = identity_switches(boxes);
    let errors = (truth - both) + (claimed - both) + switches;
    let mota = (truth > 0).then(|| 1.0 - errors as f64 / truth as f64);
    BoxAssociation {
        boxes_true: truth,
        boxes_claimed: claimed,
        boxes_both: both,
        hota: Figure::new(product.map(f64::sqrt), either, none),
        det_a,
        ass_a,
        idf1: Figure::ratio(
            2.0 * table.best_identity_boxes() as f64,
            (truth + claimed) as f64,
            truth + claimed,
            none,
        ),
        pairwise_f1: Figure::ratio(
            2.0 * pairs_both as f64,
            (pairs_true + pairs_claimed) as f64,
            pairs_true + pairs_claimed,
            "no two boxes share an identity",
        ),
        mota: Figure::new(mota, truth, "no box is labelled with a fruitlet"),
        identity_switches: switches,
    }
}

/// How often each identity, and each couple of identities, occurs.
#[derive(Default)]
pub(crate) struct Identities {
    both: BTreeMap<(usize, usize), usize>,
    truth: BTreeMap<usize, usize>,
    claimed: BTreeMap<usize, usize>,
}

impl Identities {
    pub(crate) fn of(boxes: &[(Option<usize>, Option<usize>)]) -> Self {
        let mut table = Self::default();
        for &(truth, claim) in boxes {
            if let Some(g) = truth {
                *table.truth.entry(g).or_default() += 1;
            }
            if let Some(p) = claim {
                *table.claimed.entry(p).or_default() += 1;
            }
            if let (Some(g), Some(p)) = (truth, claim) {
                *table.both.entry((g, p)).or_default() += 1;
            }
        }
        table
    }

    fn both_total(&self) -> usize {
        self.both.values().sum()
    }

    fn true_total(&self) -> usize {
        self.truth.values().sum()
    }

    fn claimed_total(&self) -> usize {
        self.claimed.values().sum()
    }

    /// |TPA| / (|TPA| + |FNA| + |FPA|) of a box with a true and a claimed identity; 0 where no box has these two.
    pub(crate) fn association(&self, pair: (usize, usize)) -> f64 {
        let Some(&n) = self.both.get(&pair) else {
            return 0.0;
        };
        let of = |table: &BTreeMap<usize, usize>, k: usize| table.get(&k).copied().unwrap_or(0);
        n as f64 / (of(&self.truth, pair.0) + of(&self.claimed, pair.1) - n) as f64
    }

    /// Sum over the boxes with both identities of their association score.
    fn association_sum(&self) -> f64 {
        let term = |(&pair, &n): (&(usize, usize), &usize)| n as f64 * self.association(pair);
        self.both.iter().map(term).sum()
    }

    /// Pairs of boxes that share both identities, the true one, the claimed one.
    fn pair_counts(&self) -> (usize, usize, usize) {
        let count = |values: &mut dyn Iterator<Item = usize>| values.map(pairs).sum::<usize>();
        (
            count(&mut self.both.values().copied()),
            count(&mut self.truth.values().copied()),
            count(&mut self.claimed.values().copied()),
        )
    }

    /// The best one-to-one map between true and claimed identities: that with the most boxes in common.
    pub(crate) fn best_map(&self) -> BTreeSet<(usize, usize)> {
        let edges: Vec<(usize, usize, f64)> = self
            .both
            .iter()
            .map(|(&(g, p), &n)| (g, p, -(n as f64)))
            .collect();
        best_pairs(&edges).into_iter().collect()
    }

    /// IDTP: boxes in common under that map.
    fn best_identity_boxes(&self) -> usize {
        let pairs = self.best_map();
        pairs.iter().filter_map(|pair| self.both.get(pair)).sum()
    }
}

fn identity_switches(boxes: &[(Option<usize>, Option<usize>)]) -> usize {
    let mut last = BTreeMap::new();
    let mut switches = 0;
    for &(truth, claim) in boxes {
        if let (Some(g), Some(p)) = (truth, claim) {
            switches += usize::from(last.insert(g, p).is_some_and(|before| before != p));
        }
    }
    switches
}
