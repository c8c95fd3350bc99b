//! The best pose of one tool about one fruit, for any set of neighbours that are still there.
//!
//! From the best poses of a first pass ([`crate::field`]) a pattern search goes on over tilt, position and depth; each
//! pose that it finds is at hand for all other sets as well.

use crate::field::{Field, LATER, Set, TARGET, There};
use crate::judge::{Condition, Finding};
use crate::pattern::climb;
use crate::problem::{Aim, Problem};
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// Choices of stems to cut that are looked at for one keeper and one set of neighbours.
const CUTS_AT_MOST: usize = 4;
/// A result this close to what it would be with a neighbour less is not searched further, nats.
const GOOD_ENOUGH: f64 = 0.05;
/// Nor is one that is this likely, nats (0.95).
const LIKELY: f64 = -0.05;
/// A local search ends here, nats (0.999).
const ENOUGH: f64 = -0.001;
/// Where a local search ends this much short, others are not tried, nats (2 mm).
const FAR_SHORT: f64 = -100.0;
/// Starts of the local search differ by this much, radians and metres.
const APART_RAD: f64 = 0.1;
const APART_M: f64 = 0.003;
/// First steps of the pattern search: radians, radians, metres, metres, metres; and the share at which it ends.
const FIRST_STEPS: [f64; 5] = [0.07, 0.07, 0.002, 0.002, 0.001];
const LAST_SHARE: f64 = 1.0 / 16.0;
/// Rounding that still counts as kept, metres or radians.
pub(crate) const KEPT: f64 = 1e-9;

/// A pose found for a set of neighbours.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Found {
    pub aim: Aim,
    /// ln of the probability of success.
    pub ln: f64,
}

impl Field<'_> {
    /// The best pose known for a set, none of `used` or near to it; with its cost.
    fn best_of(&self, there: &There, used: &[Aim]) -> Option<(usize, f64)> {
        let mut best: Option<(usize, f64)> = None;
        for (i, (aim, cost)) in self.aims.iter().zip(self.costs(there)).enumerate() {
            if best.is_none_or(|(_, b)| cost > b) && used.iter().all(|u| is_apart(u, aim)) {
                best = Some((i, cost));
            }
        }
        best
    }

    /// The best pose where these are there; `None` where none does. No pose is known to be likelier than `bound`, ln.
    pub(crate) fn best(&mut self, there: &There, bound: f64) -> Option<Found> {
        let least = self.config.least_success.max(1e-9).ln();
        let ln_there = self.problem.body.existence.max(1e-9).ln();
        let (i, cost) = self.search(there, bound - ln_there);
        if cost < least {
            return None;
        }
        let aim = *self.aims.get(i)?;
        let findings = self.findings(&aim, there);
        let ln = ln_of(&findings) + ln_there;
        let kept = findings.iter().all(|f| f.spare >= -KEPT);
        (kept && ln >= least).then_some(Found { aim, ln })
    }

    /// Local searches from the best poses known, until one is as good as `bound` or likely. The best pose and its cost.
    fn search(&mut self, there: &There, bound: f64) -> (usize, f64) {
        let mut used: Vec<Aim> = Vec::new();
        let mut best = self.best_of(there, &[]).unwrap_or((0, f64::NEG_INFINITY));
        for _ in 0..self.config.starts {
            if best.1 >= bound - GOOD_ENOUGH || best.1 > LIKELY {
                break;
            }
            let start = if used.is_empty() {
                Some(best)
            } else {
                self.best_of(there, &used)
            };
            let Some(start) = start.and_then(|(i, _)| self.aims.get(i)).copied() else {
                break;
            };
            used.push(start);
            let budget = self.config.poses_per_search;
            let (from, steps) = (values(&start), &FIRST_STEPS);
            let (end, cost) = climb(from, steps, LAST_SHARE, budget, ENOUGH, |v, floor| {
                self.cost_above(&aim_of(v), there, floor)
            });
            let end = self.note(aim_of(&end));
            if cost > best.1 {
                best = (end, cost);
            }
            if best.1 < FAR_SHORT {
                break;
            }
        }
        best
    }

    /// The pose near `start` that is least beyond the limits by `excess` of its findings. Not noted.
    pub(crate) fn nearest_to_good(
        &mut self,
        start: &Aim,
        there: &There,
        excess: impl Fn(&Problem<'_>, &[Finding]) -> f64,
    ) -> Aim {
        let budget = self.config.poses_per_search;
        let (from, steps) = (values(start), &FIRST_STEPS);
        let mut findings = Vec::new();
        let (end, _) = climb(from, steps, LAST_SHARE, budget, 0.0, |v, _| {
            self.spares(&aim_of(v), there, &mut findings);
            -excess(&self.problem, &findings)
        });
        aim_of(&end)
    }

    /// Sets of stems among `may_go` that some pose about this keeper cuts at once, the most and likeliest first.
    pub(crate) fn cuts(&self, keep: Set, may_go: Set) -> Vec<Set> {
        let mut best: BTreeMap<Set, f64> = BTreeMap::new();
        for i in 0..self.aims.len() {
            let cut = self
                .row(i)
                .iter()
                .enumerate()
                .filter(|(s, c)| may_go & (1 << s) != 0 && c[TARGET] > c[LATER]);
            let targets = cut.fold(0, |set: Set, (s, _)| set | (1 << s));
            if targets != 0 {
                let cost = self.cost(
                    i,
                    &There {
                        targets,
                        keep,
                        later: may_go & !targets,
                    },
                );
                best.entry(targets)
                    .and_modify(|c| *c = c.max(cost))
                    .or_insert(cost);
            }
        }
        let mut cuts: Vec<(Set, f64)> = best.into_iter().collect();
        cuts.sort_by(|a, b| {
            b.0.count_ones()
                .cmp(&a.0.count_ones())
                .then(b.1.total_cmp(&a.1))
                .then(a.0.cmp(&b.0))
        });
        cuts.truncate(CUTS_AT_MOST);
        cuts.into_iter().map(|(set, _)| set).collect()
    }

    /// The best poses known for a set, whether they do or not, the best first.
    pub(crate) fn likeliest(&self, there: &There, most: usize) -> Vec<Aim> {
        let mut ranked: Vec<(f64, usize)> = self.costs(there).zip(0..).collect();
        let better = |a: &(f64, usize), b: &(f64, usize)| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1));
        if most < ranked.len() {
            ranked.select_nth_unstable_by(most, better);
            ranked.truncate(most);
        }
        ranked.sort_unstable_by(better);
        ranked
            .into_iter()
            .filter_map(|(_, i)| self.aims.get(i).copied())
            .collect()
    }
}

/// ln of the probability that all of it holds; of limbs and obstacles the worst stands for all.
fn ln_of(findings: &[Finding]) -> f64 {
    let (solids, others): (Vec<&Finding>, Vec<&Finding>) = findings
        .iter()
        .partition(|f| matches!(f.condition, Condition::Solid(_)));
    let solid = solids.iter().map(|f| f.ln).fold(0.0, f64::min);
    solid + others.iter().map(|f| f.ln).sum::<f64>()
}

fn values(aim: &Aim) -> [f64; 5] {
    [aim.tilt[0], aim.tilt[1], aim.at.x, aim.at.y, aim.at.z]
}

fn aim_of(v: &[f64; 5]) -> Aim {
    Aim {
        tilt: [v[0], v[1]],
        at: Vector3::new(v[2], v[3], v[4]),
    }
}

fn is_apart(a: &Aim, b: &Aim) -> bool {
    (a.tilt[0] - b.tilt[0]).hypot(a.tilt[1] - b.tilt[1]) > APART_RAD
        || (a.at - b.at).norm() > APART_M
}
