//! Dividing fruit among spurs at the least total cost: joining, then moving single fruit and halves, to a local
//! optimum. Every cluster weighed on the way is remembered for the exact search ([`crate::exact`]).

use crate::spur::Scales;
use std::collections::BTreeSet;

/// Passes over all clusters; two or three are usual.
const PASSES: usize = 8;
/// A change that saves less is none, nats.
const LEAST_SAVING: f64 = 1e-6;

/// Fruit divided into clusters: each ascending, in the order of their first members.
pub(crate) type Partition = Vec<Vec<usize>>;

/// A partition while it is being changed.
struct Division<'a> {
    scales: &'a Scales<'a>,
    near: &'a [Vec<usize>],
    clusters: Vec<Vec<usize>>,
    of: Vec<usize>,
}

/// Joins the two clusters that save most, as long as any two save, starting from single fruit.
pub(crate) fn join_all(scales: &Scales<'_>, near: &[Vec<usize>]) -> Partition {
    let mut division = Division::new(scales, near, (0..near.len()).map(|i| vec![i]).collect());
    let mut queue: BTreeSet<(Saving, usize)> = BTreeSet::new();
    let mut age = vec![0usize; near.len()];
    let mut born = Vec::new();
    for (i, of) in near.iter().enumerate() {
        for &j in of.iter().filter(|&&j| j > i) {
            offer(&division, &mut queue, &mut born, &age, i, j);
        }
    }
    while let Some((_, tag)) = queue.pop_first() {
        let (a, b, age_a, age_b): (usize, usize, usize, usize) = born[tag];
        if age[a] != age_a || age[b] != age_b {
            continue;
        }
        division.join(a, b);
        age[a] += 1;
        age[b] += 1;
        for c in division.around(a) {
            offer(&division, &mut queue, &mut born, &age, a, c);
        }
    }
    division.finish()
}

type Born = Vec<(usize, usize, usize, usize)>;

fn offer(
    division: &Division<'_>,
    queue: &mut BTreeSet<(Saving, usize)>,
    born: &mut Born,
    age: &[usize],
    a: usize,
    b: usize,
) {
    let saving = division.saving(a, b);
    if saving > LEAST_SAVING {
        queue.insert((Saving(saving), born.len()));
        born.push((a, b, age[a], age[b]));
    }
}

/// Orders by falling value.
#[derive(PartialEq)]
struct Saving(f64);
impl Eq for Saving {}
impl PartialOrd for Saving {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Saving {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        other.0.total_cmp(&self.0)
    }
}

/// Improves a partition by single moves, joins and splits until none helps.
pub(crate) fn improve(scales: &Scales<'_>, near: &[Vec<usize>], start: Partition) -> Partition {
    let mut division = Division::new(scales, near, start);
    let mut stale: BTreeSet<usize> = (0..division.clusters.len()).collect();
    for _ in 0..PASSES {
        let todo = std::mem::take(&mut stale);
        for k in todo {
            if !division.clusters[k].is_empty() {
                division.improve_one(k, &mut stale);
            }
        }
        if stale.is_empty() {
            break;
        }
    }
    division.finish()
}

impl<'a> Division<'a> {
    fn new(scales: &'a Scales<'a>, near: &'a [Vec<usize>], clusters: Partition) -> Division<'a> {
        let mut of = vec![0; near.len()];
        for (k, members) in clusters.iter().enumerate() {
            for &i in members {
                of[i] = k;
            }
        }
        Division {
            scales,
            near,
            clusters,
            of,
        }
    }

    fn finish(self) -> Partition {
        let mut out: Partition = self
            .clusters
            .into_iter()
            .filter(|c| !c.is_empty())
            .collect();
        out.sort();
        out
    }

    /// Clusters with a member that could share a spur with one of `k`, ascending.
    fn around(&self, k: usize) -> Vec<usize> {
        let near = self.clusters[k].iter().flat_map(|&i| &self.near[i]);
        let mut out: Vec<usize> = near.map(|&j| self.of[j]).filter(|&c| c != k).collect();
        out.sort_unstable();
        out.dedup();
        out
    }

    fn cost(&self, members: &[usize]) -> f64 {
        if members.is_empty() {
            0.0
        } else {
            self.scales.weigh(members).cost
        }
    }

    /// Whether all members of two clusters could share a spur.
    fn could_join(&self, a: usize, b: usize) -> bool {
        let (a, b) = (&self.clusters[a], &self.clusters[b]);
        a.iter()
            .all(|&i| b.iter().all(|&j| self.scales.could_share(i, j)))
    }

    /// What joining two clusters saves; nothing where some members could not share a spur.
    fn saving(&self, a: usize, b: usize) -> f64 {
        if !self.could_join(a, b) {
            return 0.0;
        }
        let (a, b) = (&self.clusters[a], &self.clusters[b]);
        self.cost(a) + self.cost(b) - self.cost(&union(a, b))
    }

    /// Moves the members of `b` to `a`.
    fn join(&mut self, a: usize, b: usize) {
        let moved = std::mem::take(&mut self.clusters[b]);
        for &i in &moved {
            self.of[i] = a;
        }
        self.clusters[a] = union(&self.clusters[a], &moved);
    }

    /// The best single change about cluster `k`, as long as one helps; touched clusters become stale.
    fn improve_one(&mut self, k: usize, stale: &mut BTreeSet<usize>) {
        let mut best: Option<(f64, Change)> = None;
        let mut consider = |saving: f64, change: Change| {
            if saving > LEAST_SAVING && best.as_ref().is_none_or(|b| saving > b.0) {
                best = Some((saving, change));
            }
        };
        let around = self.around(k);
        for &c in &around {
            consider(self.saving(k, c), Change::Join(c));
        }
        for (saving, a, b) in self.threefold(k, &around) {
            consider(saving, Change::JoinBoth(a, b));
        }
        let members = &self.clusters[k];
        for &i in members {
            let left = self.cost(members) - self.cost(&without(members, &[i]));
            if members.len() > 1 {
                consider(left - self.cost(&[i]), Change::Part(vec![i]));
            }
            for &c in &around {
                if self.clusters[c]
                    .iter()
                    .all(|&j| self.scales.could_share(i, j))
                {
                    let more =
                        self.cost(&union(&self.clusters[c], &[i])) - self.cost(&self.clusters[c]);
                    consider(left - more, Change::Move(i, c));
                }
            }
        }
        for pair in pairs(members) {
            if members.len() > 3 {
                let rest = without(members, &pair);
                let apart = self.cost(members) - self.cost(&rest) - self.cost(&pair);
                consider(apart, Change::Part(pair.to_vec()));
            }
        }
        if let Some((_, change)) = best {
            self.apply(k, change, stale);
        }
    }

    /// What joining `k` with two others at once saves: where a spur is covered, no two of its fruit agree on it, but
    /// three do.
    fn threefold(&self, k: usize, around: &[usize]) -> Vec<(f64, usize, usize)> {
        let most = self.scales.config.usual_fruit_at_most;
        let size = |c: usize| self.clusters[c].len();
        let mut out = Vec::new();
        for (at, &a) in around.iter().enumerate() {
            // each three once, from its first
            if a < k || size(k) + size(a) >= most || !self.could_join(k, a) {
                continue;
            }
            let two = union(&self.clusters[k], &self.clusters[a]);
            for &b in &around[at + 1..] {
                if two.len() + size(b) <= most && self.could_join(k, b) && self.could_join(a, b) {
                    let apart = [k, a, b]
                        .iter()
                        .map(|&c| self.cost(&self.clusters[c]))
                        .sum::<f64>();
                    out.push((apart - self.cost(&union(&two, &self.clusters[b])), a, b));
                }
            }
        }
        out
    }

    fn apply(&mut self, k: usize, change: Change, stale: &mut BTreeSet<usize>) {
        let other = match change {
            Change::Join(c) => {
                self.join(k, c);
                k
            }
            Change::JoinBoth(a, b) => {
                self.join(k, a);
                self.join(k, b);
                k
            }
            Change::Part(out) => {
                self.clusters[k] = without(&self.clusters[k], &out);
                for &i in &out {
                    self.of[i] = self.clusters.len();
                }
                self.clusters.push(out);
                self.clusters.len() - 1
            }
            Change::Move(i, c) => {
                self.clusters[k] = without(&self.clusters[k], &[i]);
                self.clusters[c] = union(&self.clusters[c], &[i]);
                self.of[i] = c;
                c
            }
        };
        for c in [k, other] {
            stale.insert(c);
            stale.extend(self.around(c));
        }
    }
}

enum Change {
    Join(usize),
    JoinBoth(usize, usize),
    Part(Vec<usize>),
    Move(usize, usize),
}

/// Two ascending lists as one.
pub(crate) fn union(a: &[usize], b: &[usize]) -> Vec<usize> {
    let mut out = [a, b].concat();
    out.sort_unstable();
    out
}

/// A list without some of its members.
pub(crate) fn without(a: &[usize], gone: &[usize]) -> Vec<usize> {
    a.iter().copied().filter(|i| !gone.contains(i)).collect()
}

fn pairs(members: &[usize]) -> Vec<[usize; 2]> {
    let mut out = Vec::new();
    for (k, &i) in members.iter().enumerate() {
        out.extend(members[k + 1..].iter().map(|&j| [i, j]));
    }
    out
}
