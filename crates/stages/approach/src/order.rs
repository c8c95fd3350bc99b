//! The best order of removal: what is gone opens the way to the next.

use crate::closings::{Closings, members};
use crate::field::Set;
use corymb_model::arm::ToolAction;
use corymb_model::ways::OrderGap;

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

fn over_subsets(closings: &mut Closings<'_>, keep: Set, go: Set) -> Order {
    let spread: Vec<usize> = members(go).collect();
    let unpack = |packed: usize| {
        spread
            .iter()
            .enumerate()
            .filter(|(i, _)| packed & (1 << i) != 0)
            .fold(0, |set: Set, (_, s)| set | (1 << s))
    };
    let pack = |set: Set| {
        spread
            .iter()
            .enumerate()
            .filter(|(_, s)| set & (1 << **s) != 0)
            .fold(0_usize, |p, (i, _)| p | (1 << i))
    };
    let mut table: Vec<Option<Reached>> = vec![None; 1 << spread.len()];
    let mut best = (0_usize, 0.0_f64);
    for packed in 0..table.len() {
        let removed = unpack(packed);
        let ln = match table[packed] {
            Some(reached) => reached.ln,
            None if packed == 0 => 0.0,
            None => continue,
        };
        if packed.count_ones() > best.0.count_ones()
            || (packed.count_ones() == best.0.count_ones() && ln > best.1)
        {
            best = (packed, ln);
        }
        for (closing, targets) in next_closings(closings, keep, go, removed) {
            let total = ln + closings.ln(closing);
            let after = packed | pack(targets);
            if table[after].is_none_or(|reached| total > reached.ln) {
                table[after] = Some(Reached {
                    ln: total,
                    before: removed,
                    closing,
                });
            }
        }
    }
    let mut order = Order {
        removed: unpack(best.0),
        ln: best.1,
        ..Order::default()
    };
    let mut at = best.0;
    while let Some(reached) = table[at].filter(|_| at != 0) {
        order.steps.push(reached.closing);
        at = pack(reached.before);
    }
    order.steps.reverse();
    order
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
