//! The shortest open path through all places under precedences.
//!
//! A precedence says that one place comes somewhere before another; each place follows at most one other, and is followed
//! by at most one (chains). Start and end are free. Costs are symmetric whole numbers.

mod chance;
mod exact;
mod greedy;
mod path;
mod search;

use crate::Config;

/// Most places that are solved exactly, whatever the settings say: memory doubles with each.
const EXACT_LIMIT: usize = 18;

/// Costs between places.
#[derive(Debug, Clone)]
pub struct Costs {
    len: usize,
    between: Vec<i64>,
}

impl Costs {
    /// Costs of `len` places; `cost` is asked once for each pair, the smaller position first.
    #[must_use]
    pub fn of(len: usize, mut cost: impl FnMut(usize, usize) -> i64) -> Self {
        let mut between = vec![0; len * len];
        for a in 0..len {
            for b in a + 1..len {
                let cost = cost(a, b);
                between[a * len + b] = cost;
                between[b * len + a] = cost;
            }
        }
        Self { len, between }
    }

    /// Number of places.
    #[must_use]
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The cost between two places.
    #[must_use]
    pub fn get(&self, a: usize, b: usize) -> i64 {
        self.between[a * self.len + b]
    }

    /// The cost of a path.
    #[must_use]
    pub fn along(&self, order: &[usize]) -> i64 {
        order.windows(2).map(|w| self.get(w[0], w[1])).sum()
    }
}

/// A path through all places.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Route {
    /// Places in order.
    pub order: Vec<usize>,
    /// Its cost.
    pub cost: i64,
    /// Whether no path is shorter; `false` = not known.
    pub proved: bool,
}

/// The shortest path, or beyond [`Config::exact_up_to`] places a good one by a fixed amount of search. `before[p]` is the
/// place that must come before `p`; an entry that does not name another place, or closes a ring, is left out of regard.
/// Time O(2^n n^2) where exact, else about O(n^2) a kick at worst.
#[must_use]
pub fn shortest(costs: &Costs, before: &[Option<usize>], config: &Config) -> Route {
    let links = Links::of(costs.len(), before);
    if costs.len() <= config.exact_up_to.min(EXACT_LIMIT) {
        let order = exact::shortest(costs, &links);
        return Route {
            cost: costs.along(&order),
            order,
            proved: true,
        };
    }
    let start = greedy::best_start(costs, &links);
    let order = search::improve(costs, &links, start, config);
    Route {
        cost: costs.along(&order),
        order,
        proved: false,
    }
}

/// Precedences in both directions.
#[derive(Debug)]
pub(crate) struct Links {
    /// The place that comes somewhere before each.
    pub(crate) before: Vec<Option<usize>>,
    /// The place that comes somewhere after each.
    pub(crate) after: Vec<Option<usize>>,
}

impl Links {
    fn of(len: usize, before: &[Option<usize>]) -> Self {
        let mut links = Self {
            before: vec![None; len],
            after: vec![None; len],
        };
        for (place, &earlier) in before.iter().enumerate().take(len) {
            let Some(earlier) = earlier.filter(|&e| e < len && e != place) else {
                continue;
            };
            if links.after[earlier].is_none() && !links.leads_to(place, earlier) {
                links.before[place] = Some(earlier);
                links.after[earlier] = Some(place);
            }
        }
        links
    }

    /// Whether `to` comes after `from` by the links so far.
    fn leads_to(&self, from: usize, to: usize) -> bool {
        let mut at = Some(from);
        while let Some(place) = at {
            if place == to {
                return true;
            }
            at = self.after[place];
        }
        false
    }
}
