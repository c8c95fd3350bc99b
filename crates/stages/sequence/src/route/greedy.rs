//! A first path: always to the nearest place that may come next.

use super::{Costs, Links};

/// Most starts that are tried.
const STARTS: usize = 32;

/// The shortest of the nearest-neighbour paths from up to 32 starts, evenly spread. O(n^2) a start.
pub(crate) fn best_start(costs: &Costs, links: &Links) -> Vec<usize> {
    let free: Vec<usize> = (0..costs.len())
        .filter(|&p| links.before[p].is_none())
        .collect();
    let step = free.len().div_ceil(STARTS).max(1);
    let paths = free
        .iter()
        .step_by(step)
        .map(|&start| from(costs, links, start));
    paths
        .min_by_key(|path| costs.along(path))
        .unwrap_or_default()
}

fn from(costs: &Costs, links: &Links, start: usize) -> Vec<usize> {
    let mut done = vec![false; costs.len()];
    let mut order = Vec::with_capacity(costs.len());
    let mut at = Some(start);
    while let Some(here) = at {
        done[here] = true;
        order.push(here);
        let open = |&p: &usize| !done[p] && links.before[p].is_none_or(|b| done[b]);
        at = (0..costs.len())
            .filter(open)
            .min_by_key(|&p| (costs.get(here, p), p));
    }
    order
}
