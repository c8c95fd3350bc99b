//! The best order of removal: what is gone opens the way to the next.

use crate::closings::{Closings, members};
use crate::field::Set;
use corymb_model::arm::ToolAction;
use corymb_model::ways::OrderGap;

/// What one more closing costs when orders are compared, nats: a percent of success is worth the time of one.
const CLOSING: f64 = 0.01;

/// An order of removal.
#[derive(Debug, Clone, Default)]
pub(crate) struct Order {
    /// Closings in the order of execution.
    pub steps: Vec<usize>,
    /// What they remove.
    pub removed: Set,
    /// ln of the probability that all succeed.
    pub ln: f64,
    /// `None` where no order is better.
    pub gap: Option<OrderGap>,
}

/// The order that removes most of `go` while `keep` stays, and of those the likeliest.
///
/// Exact up to `Config::members_exact` fruit to go, over their subsets (R. Bellman, J. ACM 9, 1962): cost 2^n closings
/// a fruit. Beyond, the likeliest closing comes next each time, and the gap says what it may have missed.
pub(crate) fn best_order(closings: &mut Closings<'_>, keep: Set, go: Set) -> Order {
    if go.count_ones() as usize <= closings.config.members_exact {
        over_subsets(closings, keep, go)
    } else {
        likeliest_first(closings, keep, go)
    }
}

/// What is possible next: closings with what they remove.
fn next_closings(
    closings: &mut Closings<'_>,
    keep: Set,
    go: Set,
    removed: Set,
) -> Vec<(usize, Set)> {
    let left = go & !removed;
    let mut next: Vec<usize> = Vec::new();
    for t in members(left) {
        next.extend(closings.of_target(t, keep, left & !(1 << t)));
    }
    for k in members(keep) {
        next.extend(closings.about_keeper(k, keep & !(1 << k), left));
    }
    next.into_iter()
        .filter_map(|c| closings.get(c).map(|closing| (c, closing.targets)))
        .collect()
}

/// How a set came to be removed: ln probability, the set before, the closing.
#[derive(Debug, Clone, Copy)]
struct Reached {
    ln: f64,
    before: Set,
    closing: usize,
}

/// Subsets of a set counted through without gaps.
struct Packing(Vec<usize>);

impl Packing {
    fn unpack(&self, packed: usize) -> Set {
        let has = |i: &usize| packed & (1 << i) != 0;
        (0..self.0.len())
            .filter(has)
            .filter_map(|i| self.0.get(i))
            .fold(0, |set: Set, s| set | (1 << s))
    }

    fn pack(&self, set: Set) -> usize {
        let slots = self.0.iter().enumerate();
        slots
            .filter(|(_, s)| set & (1 << **s) != 0)
            .fold(0, |packed, (i, _)| packed | (1 << i))
    }
}

fn over_subsets(closings: &mut Closings<'_>, keep: Set, go: Set) -> Order {
    let packing = Packing(members(go).collect());
    let mut table: Vec<Option<Reached>> = vec![None; 1 << packing.0.len()];
    let mut best = (0_usize, 0.0_f64);
    for packed in 0..table.len() {
        let removed = packing.unpack(packed);
        let ln = match table[packed] {
            Some(reached) => reached.ln,
            None if packed == 0 => 0.0,
            None => continue,
        };
        let (more, most) = (packed.count_ones(), best.0.count_ones());
        if more > most || (more == most && ln > best.1) {
            best = (packed, ln);
        }
        for (closing, targets) in next_closings(closings, keep, go, removed) {
            let total = ln + closings.ln(closing) - CLOSING;
            let after = packed | packing.pack(targets);
            if table[after].is_none_or(|reached| total > reached.ln) {
                table[after] = Some(Reached {
                    ln: total,
                    before: removed,
                    closing,
                });
            }
        }
    }
    let mut steps = Vec::new();
    let mut at = best.0;
    while let Some(reached) = table[at].filter(|_| at != 0) {
        steps.push(reached.closing);
        at = packing.pack(reached.before);
    }
    steps.reverse();
    let ln = steps.iter().fold(0.0, |sum, c| sum + closings.ln(*c));
    Order {
        steps,
        removed: packing.unpack(best.0),
        ln,
        gap: None,
    }
}

fn likeliest_first(closings: &mut Closings<'_>, keep: Set, go: Set) -> Order {
    let mut order = Order::default();
    loop {
        let mut best: Option<(usize, Set, f64)> = None;
        for (closing, targets) in next_closings(closings, keep, go, order.removed) {
            let ln = closings.ln(closing);
            if best.is_none_or(|b| ln > b.2) {
                best = Some((closing, targets, ln));
            }
        }
        let Some((closing, targets, ln)) = best else {
            break;
        };
        order.steps.push(closing);
        order.removed |= targets;
        order.ln += ln;
    }
    order.gap = Some(gap_of(closings, keep, go, &order));
    order
}

/// No fruit is easier to take than when only those that stay are there.
fn gap_of(closings: &mut Closings<'_>, keep: Set, go: Set, order: &Order) -> OrderGap {
    if members(keep).next().is_some() && !closings.tools(ToolAction::EncloseKeeper).is_empty() {
        let removals = (go & !order.removed).count_ones() as usize;
        return OrderGap {
            removals,
            probability_factor: (-order.ln).exp(),
        };
    }
    let (mut removals, mut bound) = (0, 0.0);
    for t in members(go) {
        let alone = closings.of_target(t, keep, 0);
        if order.removed & (1 << t) == 0 {
            removals += usize::from(alone.is_some());
        } else {
            bound += alone.map_or(0.0, |c| closings.ln(c));
        }
    }
    OrderGap {
        removals,
        probability_factor: (bound - order.ln).exp().max(1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::fixture::{crowd, cup, guard, setup};
    use crate::problem::Setting;
    use crate::reach::Reach;
    use crate::surroundings::Index;
    use corymb_model::arm::ArmSetup;
    use corymb_model::map::CropMap;

    /// Runs `ask` on the closings of the only cluster of a map.
    fn with_closings<T>(
        map: &CropMap,
        setup: &ArmSetup,
        ask: impl FnOnce(&mut Closings<'_>) -> T,
    ) -> T {
        let config = Config::default();
        let surroundings = Index::new(map, None).about(0, 0.3, &config);
        let n = map.fruitlets.len();
        let (slots, removable): (Vec<_>, Vec<_>) = ((0..n).map(Some).collect(), (0..n).collect());
        let reach = Reach::of(setup);
        let setting = Setting {
            surroundings: &surroundings,
            slots: &slots,
            reach: &reach,
            repeatability_m: 2e-4,
            solid_deviation_m: 0.0,
        };
        let shared_m = vec![0.0; n];
        ask(&mut Closings::new(
            setting, setup, &config, &removable, &shared_m,
        ))
    }

    /// Most removals, then the best value, over every sequence of closings one by one.
    fn by_trying_all(
        closings: &mut Closings<'_>,
        keep: Set,
        go: Set,
        removed: Set,
        value: f64,
    ) -> (u32, f64) {
        let mut best = (removed.count_ones(), value);
        for (closing, targets) in next_closings(closings, keep, go, removed) {
            let next = value + closings.ln(closing) - CLOSING;
            let end = by_trying_all(closings, keep, go, removed | targets, next);
            if end.0 > best.0 || (end.0 == best.0 && end.1 > best.1) {
                best = end;
            }
        }
        best
    }

    #[test]
    fn no_sequence_of_removals_does_better() {
        let both = ArmSetup {
            tools: vec![cup(), guard()],
            ..setup(cup())
        };
        let mut partial = 0;
        for seed in 40..60 {
            let map = crowd(seed, 5);
            let tools = if seed % 3 == 0 {
                both.clone()
            } else {
                setup(cup())
            };
            let all: Set = (1 << map.fruitlets.len()) - 1;
            with_closings(&map, &tools, |closings| {
                for keep in [0, 1, 4, 6] {
                    let go = all & !keep;
                    let order = best_order(closings, keep, go);
                    let value =
                        order.ln - CLOSING * f64::from(u32::try_from(order.steps.len()).unwrap());
                    let (removals, best) = by_trying_all(closings, keep, go, 0, 0.0);
                    assert_eq!(order.removed.count_ones(), removals, "seed {seed}");
                    assert!((value - best).abs() < 1e-9, "seed {seed}: {value} {best}");
                    partial += u32::from(order.removed != go);
                }
            });
        }
        assert!(partial > 5, "every order was complete");
    }

    #[test]
    fn taking_the_likeliest_first_is_within_its_gap() {
        for seed in 60..80 {
            let map = crowd(seed, 6);
            let all: Set = (1 << map.fruitlets.len()) - 1;
            with_closings(&map, &setup(cup()), |closings| {
                let exact = over_subsets(closings, 1, all & !1);
                let greedy = likeliest_first(closings, 1, all & !1);
                let gap = greedy.gap.unwrap();
                let missed = exact.removed.count_ones() - greedy.removed.count_ones();
                assert!(missed as usize <= gap.removals, "seed {seed}");
                if exact.removed == greedy.removed {
                    assert!(
                        exact.ln <= greedy.ln + gap.probability_factor.ln() + 1e-9,
                        "seed {seed}"
                    );
                }
            });
        }
    }
}
