//! The shortest path by dynamic programming over subsets.
//!
//! M. Held, R. M. Karp, A dynamic programming approach to sequencing problems, J. SIAM 10:196-210, 1962; with
//! precedences, a place may be last in a subset only when the one before it is in the subset.

use super::{Costs, Links};

/// The order of the shortest path; among equal ones the first found, in a fixed sequence. O(2^n n^2) time, O(2^n n)
/// memory.
pub(crate) fn shortest(costs: &Costs, links: &Links) -> Vec<usize> {
    let len = costs.len();
    if len == 0 {
        return Vec::new();
    }
    let table = table(costs, links);
    let all = (1usize << len) - 1;
    let mut left = all;
    let mut order = Vec::with_capacity(len);
    let last = (0..len).filter(|&p| table[all * len + p].is_some());
    let mut at = last.min_by_key(|&p| table[all * len + p]);
    while let Some(place) = at {
        order.push(place);
        let cost = table[left * len + place];
        left &= !(1 << place);
        let came_from = |&p: &usize| {
            table[left * len + p].map(|c| c + costs.get(p, place)) == cost && cost.is_some()
        };
        at = (0..len).filter(|p| left >> p & 1 == 1).find(came_from);
    }
    order.reverse();
    order
}

/// By subset and last place: the cost of the shortest path through the subset that ends there.
fn table(costs: &Costs, links: &Links) -> Vec<Option<i64>> {
    let len = costs.len();
    let mut table: Vec<Option<i64>> = vec![None; (1 << len) * len];
    let may_follow = |subset: usize, p: usize| links.before[p].is_none_or(|b| subset >> b & 1 == 1);
    for p in (0..len).filter(|&p| links.before[p].is_none()) {
        table[(1 << p) * len + p] = Some(0);
    }
    for subset in 1..1usize << len {
        for last in (0..len).filter(|last| subset >> last & 1 == 1) {
            let Some(cost) = table[subset * len + last] else {
                continue;
            };
            for next in (0..len).filter(|&n| subset >> n & 1 == 0 && may_follow(subset, n)) {
                let slot = &mut table[(subset | 1 << next) * len + next];
                let through = cost + costs.get(last, next);
                if slot.is_none_or(|held| through < held) {
                    *slot = Some(through);
                }
            }
        }
    }
    table
}
