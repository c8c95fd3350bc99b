//! The ways of a cluster that may be chosen, each with what it leaves and how it compares.

use crate::Input;
use crate::rank::Ranks;
use crate::score::{Score, as_i64};
use crate::standing::{Standing, Status};
use crate::worth::Worths;
use corymb_model::ways::Way;
use std::borrow::Cow;
use std::cmp::Ordering;

/// A way that may be chosen.
#[derive(Debug)]
pub(crate) struct Candidate<'a> {
    /// The way, without refusals of fruit that may not go anyway.
    pub(crate) way: Cow<'a, Way>,
    /// Fruit that is meant to stay, by decision, by a pin or until another look, by id.
    pub(crate) stays: Vec<usize>,
    /// Number of fruit that will hang there: those, and what ought to go and cannot be reached.
    pub(crate) hangs: usize,
    /// How it compares, without anything that lies outside the cluster.
    pub(crate) score: Score,
}

impl Candidate<'_> {
    /// Probability that its removals succeed.
    pub(crate) fn success(&self) -> f64 {
        probability(&self.way)
    }
}

/// Which fruit of a cluster with something left must include a sure one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SureAmong {
    /// What is meant to stay.
    Stays,
    /// What will hang there.
    Hangs,
}

/// The candidates of every cluster, best first among equal numbers of fruit; never empty.
pub(crate) fn of_all_clusters<'a>(
    input: &Input<'a>,
    standing: &Standing,
    worth: &Worths,
    ranks: &Ranks,
) -> Vec<Vec<Candidate<'a>>> {
    let mut ways: Vec<&'a [Way]> = vec![&[]; input.map.clusters.len()];
    for entry in input.ways {
        if let Some(slot) = ways.get_mut(entry.cluster_idx) {
            *slot = &entry.ways;
        }
    }
    let maker = Maker {
        standing,
        worth,
        ranks,
        keep_at_most: input.policy.keep_at_most,
    };
    ways.iter()
        .enumerate()
        .map(|(c, ways)| maker.of_cluster(&standing.members[c], ways))
        .collect()
}

struct Maker<'m> {
    standing: &'m Standing,
    worth: &'m Worths,
    ranks: &'m Ranks,
    keep_at_most: usize,
}

impl Maker<'_> {
    fn of_cluster<'a>(&self, members: &[usize], ways: &'a [Way]) -> Vec<Candidate<'a>> {
        let usable = |among: SureAmong| -> Vec<Candidate<'a>> {
            let ways = ways
                .iter()
                .map(|way| self.without_idle_refusals(members, way));
            ways.filter_map(|way| self.candidate(members, way, among))
                .collect()
        };
        let mut candidates = usable(SureAmong::Stays);
        if candidates.is_empty() {
            candidates = usable(SureAmong::Hangs);
        }
        if !candidates.iter().any(|c| c.stays.len() == members.len()) {
            let as_it_is = Way {
                keepers: members.to_vec(),
                probability: 1.0,
                ..Way::default()
            };
            candidates.extend(self.candidate(members, Cow::Owned(as_it_is), SureAmong::Stays));
        }
        candidates.sort_by(|a, b| self.compare(a, b));
        candidates
    }

    /// The way without refusals of fruit that is not to be removed (in doubt, pinned, of another cluster).
    fn without_idle_refusals<'a>(&self, members: &[usize], way: &'a Way) -> Cow<'a, Way> {
        let ought_to_go = |i: usize| members.contains(&i) && self.standing.status[i].may_go();
        if way.refused.iter().all(|r| ought_to_go(r.fruitlet_idx)) {
            return Cow::Borrowed(way);
        }
        let mut way = way.clone();
        way.refused.retain(|r| ought_to_go(r.fruitlet_idx));
        Cow::Owned(way)
    }

    /// `None` where the way removes what must not go, or gives up all that is sure while something is left.
    fn candidate<'a>(
        &self,
        members: &[usize],
        way: Cow<'a, Way>,
        among: SureAmong,
    ) -> Option<Candidate<'a>> {
        let status = &self.standing.status;
        let removed = removed(&way);
        if removed
            .iter()
            .any(|i| !members.contains(i) || !status[*i].may_go())
        {
            return None;
        }
        let left: Vec<usize> = members
            .iter()
            .copied()
            .filter(|i| !removed.contains(i))
            .collect();
        let refused = |i: &usize| way.refused.iter().any(|r| r.fruitlet_idx == *i);
        let stays: Vec<usize> = left.iter().copied().filter(|i| !refused(i)).collect();
        let remains = match among {
            SureAmong::Stays => &stays,
            SureAmong::Hangs => &left,
        };
        if !remains.is_empty() && self.loses_all_sure(members, remains) {
            return None;
        }
        let score = self.score(&stays, left.len(), probability(&way));
        Some(Candidate {
            hangs: left.len(),
            stays,
            score,
            way,
        })
    }

    /// Whether no sure fruit remains although there is some that is not pinned to go.
    fn loses_all_sure(&self, members: &[usize], remains: &[usize]) -> bool {
        let sure = |i: &usize| self.standing.sure[*i];
        let by_choice = |i: &usize| self.standing.status[*i] == Status::Free;
        members.iter().any(|i| sure(i) && by_choice(i)) && !remains.iter().any(sure)
    }

    fn score(&self, stays: &[usize], hangs: usize, success: f64) -> Score {
        let status = |i: usize| self.standing.status[i];
        let kept = || stays.iter().copied().filter(|&i| is_kept(status(i)));
        Score {
            pins: -as_i64(
                stays
                    .iter()
                    .filter(|&&i| status(i) == Status::MustGo)
                    .count(),
            ),
            bounds: -as_i64(stays.len().saturating_sub(self.keep_at_most)),
            hanging: -as_i64(hangs.saturating_sub(self.keep_at_most)),
            value: kept().map(|i| self.worth.steps(i, success)).sum(),
            rank: -kept().map(|i| as_i64(self.ranks.fruitlet[i])).sum::<i64>(),
        }
    }

    /// Better first; equal ones by the fewer refusals, the ids that stay, then the likelier, then the quicker way.
    fn compare(&self, a: &Candidate<'_>, b: &Candidate<'_>) -> Ordering {
        let ids = |c: &Candidate<'_>| {
            c.stays
                .iter()
                .map(|&i| self.ranks.fruitlet[i])
                .collect::<Vec<_>>()
        };
        (b.score.cmp(&a.score))
            .then_with(|| a.hangs.cmp(&b.hangs))
            .then_with(|| ids(a).cmp(&ids(b)))
            .then_with(|| b.success().total_cmp(&a.success()))
            .then_with(|| a.way.duration_s.total_cmp(&b.way.duration_s))
    }
}

/// Whether fruit of this status that stays is kept by a decision.
pub(crate) fn is_kept(status: Status) -> bool {
    matches!(status, Status::Free | Status::MustStay)
}

/// Fruit that a way takes off, with or without a tool.
pub(crate) fn removed(way: &Way) -> Vec<usize> {
    let cut = way.removals.iter().flat_map(|r| r.targets.iter().copied());
    cut.chain(way.removed_without_tool.iter().copied())
        .collect()
}

fn probability(way: &Way) -> f64 {
    if way.probability.is_finite() {
        way.probability.clamp(0.0, 1.0)
    } else {
        0.0
    }
}
