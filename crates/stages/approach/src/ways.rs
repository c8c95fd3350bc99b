//! The list of ways of one cluster: every choice of who stays, with the best order for the rest.

use crate::Input;
use crate::closings::{Closings, members};
use crate::config::Config;
use crate::field::Set;
use crate::order::best_order;
use crate::plan::{Common, LOOKED_AROUND_M, removal};
use crate::problem::Setting;
use crate::reach::Reach;
use crate::refuse::{Blocker, Diagnosis, diagnose};
use crate::sight::{Lenses, Seen};
use crate::solids::SolidName;
use crate::surroundings::{Index, Surroundings};
use corymb_model::arm::ArmSetup;
use corymb_model::map::Fruitlet;
use corymb_model::policy::{PinAs, Pinned};
use corymb_model::run::Class;
use corymb_model::ways::{ClusterWays, OrderGap, PlannedRemoval, Refusal, RefusalReason, Way};
use std::collections::BTreeMap;

/// Fruit of one cluster that can be planned for; more are refused as [`RefusalReason::ClusterTooLarge`].
pub const MEMBERS_AT_MOST: usize = Set::BITS as usize;
/// Pairs of shifts over which the probability without finding the place again is averaged.
const SHIFT_PAIRS: usize = 16;

/// What is the same for all clusters.
pub(crate) struct Shared<'a> {
    input: &'a Input<'a>,
    config: &'a Config,
    index: Index<'a>,
    reach: Reach,
    lenses: Lenses<'a>,
    common: Common,
    repeatability_m: f64,
    look_m: f64,
}

impl<'a> Shared<'a> {
    pub(crate) fn new(input: &'a Input<'a>, config: &'a Config) -> Self {
        let stated = input
            .setup
            .into_iter()
            .flat_map(|s| &s.arms)
            .filter_map(|arm| arm.repeatability_m);
        let tools = input.setup.map(|s| s.tools.as_slice()).unwrap_or_default();
        let look = |t: &corymb_model::arm::ToolSpec| {
            t.length_m
                + t.standoff_m
                + t.outer_radius_m
                + t.cut_reach_m
                + t.inner_radius_m
                + t.clearance_m
        };
        Self {
            input,
            config,
            index: Index::new(input.map, input.orchard),
            reach: input.setup.map(Reach::of).unwrap_or_default(),
            lenses: Lenses::new(input.sight),
            common: Common {
                shifts: crate::chance::normal_points(SHIFT_PAIRS),
                has_orchard: input.orchard.is_some(),
            },
            repeatability_m: stated
                .reduce(f64::max)
                .unwrap_or(config.unstated_repeatability_m),
            look_m: LOOKED_AROUND_M + tools.iter().map(look).fold(0.0, f64::max),
        }
    }

    fn fruit(&self, idx: usize) -> Option<&'a Fruitlet> {
        self.input.map.fruitlets.get(idx)
    }
}

/// All ways of a cluster; `None` where nothing of it gets a decision.
pub(crate) fn of_cluster(shared: &Shared<'_>, cluster_idx: usize) -> Option<ClusterWays> {
    let cluster = shared.input.map.clusters.get(cluster_idx)?;
    cluster
        .members
        .iter()
        .filter_map(|&i| shared.fruit(i))
        .any(Fruitlet::is_decided)
        .then_some(())?;
    let act_above = shared.input.policy.act_above;
    let is_sure =
        |f: &Fruitlet| f.is_decided() && f.existence.min(f.cluster_probability) >= act_above;
    let sure: Vec<usize> = cluster
        .members
        .iter()
        .copied()
        .filter(|&i| shared.fruit(i).is_some_and(is_sure))
        .collect();
    let choices = choices(
        sure.len(),
        keepers_at_most(shared, cluster_idx, &sure),
        shared.config.ways_at_most,
    );
    let mut ways = ClusterWays {
        cluster_idx,
        ..ClusterWays::default()
    };
    match shared.input.setup.filter(|setup| !setup.tools.is_empty()) {
        Some(setup) => with_tools(shared, setup, &sure, &choices, &mut ways),
        None => {
            ways.ways = choices
                .iter()
                .map(|keep| without_tools(&sure, keep))
                .collect();
        }
    }
    Some(ways)
}

/// Fruit to keep at most; where a pin touches the cluster any number, for it may ask for more to stay.
fn keepers_at_most(shared: &Shared<'_>, cluster_idx: usize, sure: &[usize]) -> usize {
    let policy = shared.input.policy;
    let pinned = policy
        .pins
        .iter()
        .any(|pin| pin.as_ != PinAs::Remove && touches(shared, &pin.what, cluster_idx));
    if pinned {
        sure.len()
    } else {
        policy.keep_at_most
    }
}

fn touches(shared: &Shared<'_>, pinned: &Pinned, cluster_idx: usize) -> bool {
    let Some(cluster) = shared.input.map.clusters.get(cluster_idx) else {
        return false;
    };
    let tree = shared
        .input
        .orchard
        .zip(cluster.tree_idx)
        .and_then(|(o, t)| o.trees.get(t));
    match pinned {
        Pinned::Fruitlet(id) => cluster
            .members
            .iter()
            .any(|&i| shared.fruit(i).is_some_and(|f| f.id == *id)),
        Pinned::Cluster(id) => cluster.id == *id,
        Pinned::Tree(id) => tree.is_some_and(|t| t.id == *id),
        Pinned::Limb(id) => {
            let limb = tree.zip(cluster.limb_idx).and_then(|(t, l)| t.limbs.get(l));
            limb.is_some_and(|l| l.id == *id)
        }
    }
}

/// Every choice of up to `most` of `n`, as positions, smallest choices first, then in order; `limit` of them.
fn choices(n: usize, most: usize, limit: usize) -> Vec<Vec<usize>> {
    let mut all: Vec<Vec<usize>> = Vec::new();
    for size in 0..=most.min(n) {
        let mut choice: Vec<usize> = (0..size).collect();
        loop {
            if all.len() >= limit {
                return all;
            }
            all.push(choice.clone());
            // the last position that can still move up
            let Some(k) = (0..size).rev().find(|&k| choice[k] < n - size + k) else {
                break;
            };
            choice[k] += 1;
            for j in k + 1..size {
                choice[j] = choice[j - 1] + 1;
            }
        }
    }
    all
}

fn without_tools(sure: &[usize], keep: &[usize]) -> Way {
    let chosen = |k: &usize| keep.binary_search(k).is_ok();
    let (keepers, gone): (Vec<usize>, Vec<usize>) = (0..sure.len()).partition(chosen);
    let named = |list: Vec<usize>| {
        list.into_iter()
            .filter_map(|k| sure.get(k).copied())
            .collect()
    };
    Way {
        keepers: named(keepers),
        removed_without_tool: named(gone),
        probability: 1.0,
        ..Way::default()
    }
}

/// Fruit of a cluster that tools can be planned for.
struct Targets {
    /// Positions in the map, in the order of the slots.
    idx: Vec<usize>,
    /// Positions in the surroundings.
    local: Vec<usize>,
    /// Error shared with the neighbours.
    shared_m: Vec<f64>,
    /// For each body of the surroundings its slot.
    slots: Vec<Option<usize>>,
}

impl Targets {
    fn new(shared: &Shared<'_>, surroundings: &Surroundings, sure: &[usize]) -> Self {
        let mut targets = Self {
            idx: Vec::new(),
            local: Vec::new(),
            shared_m: Vec::new(),
            slots: vec![None; surroundings.bodies.len()],
        };
        for (local, body) in surroundings
            .bodies
            .iter()
            .enumerate()
            .take(surroundings.members)
        {
            let Some(fruit) = shared.fruit(body.idx) else {
                continue;
            };
            let full = targets.idx.len() >= MEMBERS_AT_MOST;
            if full || fruit.class != Class::Fruitlet || sure.binary_search(&body.idx).is_err() {
                continue;
            }
            if let Some(slot) = targets.slots.get_mut(local) {
                *slot = Some(targets.idx.len());
            }
            targets.idx.push(body.idx);
            targets.local.push(local);
            targets.shared_m.push(fruit.shared_deviation_m);
        }
        targets
    }

    fn slot(&self, idx: usize) -> Option<usize> {
        self.idx.binary_search(&idx).ok()
    }
}

fn with_tools(
    shared: &Shared<'_>,
    setup: &ArmSetup,
    sure: &[usize],
    choices: &[Vec<usize>],
    out: &mut ClusterWays,
) {
    let surroundings = shared
        .index
        .about(out.cluster_idx, shared.look_m, shared.config);
    let targets = Targets::new(shared, &surroundings, sure);
    let setting = Setting {
        surroundings: &surroundings,
        slots: &targets.slots,
        reach: &shared.reach,
        repeatability_m: shared.repeatability_m,
        solid_deviation_m: shared.config.solid_deviation_m,
    };
    let closings = Closings::new(
        setting,
        setup,
        shared.config,
        &targets.local,
        &targets.shared_m,
    );
    let seen = shared.lenses.about(&surroundings, shared.config);
    let mut writer = Writer {
        shared,
        targets: &targets,
        closings,
        seen,
        written: BTreeMap::new(),
        diagnosed: BTreeMap::new(),
    };
    for keep in choices {
        let (way, gap) = writer.way(sure, keep);
        out.ways.push(way);
        out.gap = wider(out.gap, gap);
    }
}

fn wider(a: Option<OrderGap>, b: Option<OrderGap>) -> Option<OrderGap> {
    let (Some(x), Some(y)) = (a, b) else {
        return a.or(b);
    };
    Some(OrderGap {
        removals: x.removals.max(y.removals),
        probability_factor: x.probability_factor.max(y.probability_factor),
    })
}

/// Writes out ways; closings and refusals that several ways share are written once.
struct Writer<'a, 'b> {
    shared: &'a Shared<'b>,
    targets: &'a Targets,
    closings: Closings<'a>,
    seen: Option<Seen<'a>>,
    written: BTreeMap<usize, Option<PlannedRemoval>>,
    diagnosed: BTreeMap<(usize, Set, Set), Diagnosis>,
}

impl Writer<'_, '_> {
    fn way(&mut self, sure: &[usize], keep: &[usize]) -> (Way, Option<OrderGap>) {
        let mut way = without_tools(sure, keep);
        let set_of = |list: &[usize]| {
            list.iter()
                .filter_map(|&i| self.targets.slot(i))
                .fold(0, |s: Set, b| s | 1 << b)
        };
        let (keep, go) = (set_of(&way.keepers), set_of(&way.removed_without_tool));
        let shared = self.shared;
        let mut too_many = std::mem::take(&mut way.removed_without_tool);
        too_many.retain(|&i| self.targets.slot(i).is_none());
        (too_many, way.removed_without_tool) = too_many
            .into_iter()
            .partition(|&i| shared.fruit(i).is_some_and(|f| f.class == Class::Fruitlet));
        let order = best_order(&mut self.closings, keep, go);
        for step in &order.steps {
            way.removals.extend(self.written(*step));
        }
        way.probability = order.ln.exp();
        way.duration_s = way.removals.iter().fold(0.0, |sum, r| sum + r.duration_s);
        let left = go & !order.removed;
        way.refused = members(left)
            .filter_map(|slot| self.refusal(slot, keep, left & !(1 << slot)))
            .collect();
        way.refused
            .extend(too_many.into_iter().map(|fruitlet_idx| Refusal {
                fruitlet_idx,
                reason: RefusalReason::ClusterTooLarge,
                blocked_by: Vec::new(),
                shortfall: None,
            }));
        way.refused.sort_by_key(|r| r.fruitlet_idx);
        (way, order.gap)
    }

    fn written(&mut self, closing: usize) -> Option<PlannedRemoval> {
        let (closings, seen, common) =
            (&mut self.closings, self.seen.as_mut(), &self.shared.common);
        self.written
            .entry(closing)
            .or_insert_with(|| removal(closings, closing, common, seen))
            .clone()
    }

    fn refusal(&mut self, slot: usize, keep: Set, later: Set) -> Option<Refusal> {
        let closings = &mut self.closings;
        let diagnosis = self
            .diagnosed
            .entry((slot, keep, later))
            .or_insert_with(|| diagnose(closings, slot, keep, later));
        let name = |blocker: &Blocker| match *blocker {
            Blocker::Fruit(i) => self.shared.fruit(i).map(|f| f.id.clone()),
            Blocker::Solid(solid) => solid_id(self.shared, solid),
        };
        Some(Refusal {
            fruitlet_idx: *self.targets.idx.get(slot)?,
            reason: diagnosis.reason,
            blocked_by: diagnosis.blockers.iter().filter_map(name).collect(),
            shortfall: diagnosis.shortfall,
        })
    }
}

fn solid_id(shared: &Shared<'_>, solid: SolidName) -> Option<String> {
    let orchard = shared.input.orchard?;
    match solid {
        SolidName::Limb(tree, limb) => orchard
            .trees
            .get(tree)?
            .limbs
            .get(limb)
            .map(|l| l.id.clone()),
        SolidName::Obstacle(i) => orchard.obstacles.get(i).map(|o| o.id.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::choices;

    #[test]
    fn choices_are_all_subsets_up_to_a_size() {
        assert_eq!(choices(3, 1, 100), [vec![], vec![0], vec![1], vec![2]]);
        assert_eq!(choices(6, 2, 100).len(), 1 + 6 + 15);
        assert_eq!(choices(2, 5, 100), [vec![], vec![0], vec![1], vec![0, 1]]);
        assert_eq!(choices(0, 2, 100), [Vec::<usize>::new()]);
        assert_eq!(choices(500, 3, 40).len(), 40);
    }
}
