//! The best way to divide fruit among all clusters that were weighed, component by component, with a bound.
//!
//! Choosing disjoint clusters of the largest total saving (over every fruit alone) is weighted set packing. A dual price
//! for each fruit, such that no cluster saves more than its members' prices, bounds what any choice can save; depth-first
//! search cuts what cannot beat the best so far. Exact over the clusters that were weighed, unless a component needs more
//! than the allowed nodes: then the bound less the best found is its gap.

use crate::config::Config;
use crate::search::Partition;
use crate::spur::Scales;
use petgraph::unionfind::UnionFind;

/// Steps of the prices' subgradient descent.
const PRICE_STEPS: usize = 60;
/// Savings below this are none, nats.
const LEAST_SAVING: f64 = 1e-9;

/// How well a connected component of fruit was divided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComponentReport {
    /// Fruit in it.
    pub fruit: usize,
    /// Clusters of two and more fruit that were candidates.
    pub candidates: usize,
    /// Nodes of the search.
    pub nodes: usize,
    /// How much less than the chosen division any division into candidates could cost, nats; 0 where the choice is exact.
    pub gap: f64,
}

/// A cluster that could be chosen.
struct Column {
    /// Positions among the component's fruit, ascending.
    members: Vec<usize>,
    saving: f64,
}

/// The best partition into weighed clusters, no worse than `start`; and a report for each component with a choice.
pub(crate) fn settle(
    scales: &Scales<'_>,
    start: &Partition,
    config: &Config,
) -> (Partition, Vec<ComponentReport>) {
    let n = scales.fruit.len();
    let columns = columns(scales);
    let mut parts = UnionFind::<usize>::new(n);
    for (members, _) in &columns {
        for pair in members.windows(2) {
            parts.union(pair[0], pair[1]);
        }
    }
    let mut by_part: Vec<(usize, usize)> = (0..n).map(|i| (parts.find(i), i)).collect();
    by_part.sort_unstable();
    let mut place = vec![(0, 0); n];
    let mut fruit: Vec<Vec<usize>> = Vec::new();
    for group in by_part.chunk_by(|a, b| a.0 == b.0) {
        for (local, &(_, i)) in group.iter().enumerate() {
            place[i] = (fruit.len(), local);
        }
        fruit.push(group.iter().map(|g| g.1).collect());
    }
    let mut of_part: Vec<Vec<Column>> = fruit.iter().map(|_| Vec::new()).collect();
    for (members, saving) in columns {
        let local = members.iter().map(|&i| place[i].1).collect();
        of_part[place[members[0]].0].push(Column {
            members: local,
            saving,
        });
    }
    let mut chosen: Vec<Vec<Vec<usize>>> = fruit.iter().map(|_| Vec::new()).collect();
    for members in start.iter().filter(|m| m.len() > 1) {
        chosen[place[members[0]].0].push(members.iter().map(|&i| place[i].1).collect());
    }
    let mut out = Partition::new();
    let mut reports = Vec::new();
    for (k, fruit) in fruit.iter().enumerate() {
        let mut packing = Packing::new(fruit.len(), &of_part[k], &chosen[k]);
        packing.search(config.largest_search);
        if !of_part[k].is_empty() {
            reports.push(packing.report());
        }
        out.extend(
            packing
                .clusters()
                .into_iter()
                .map(|c| c.into_iter().map(|i| fruit[i]).collect()),
        );
    }
    out.sort();
    (out, reports)
}

/// Weighed clusters that save something over their fruit alone.
fn columns(scales: &Scales<'_>) -> Vec<(Vec<usize>, f64)> {
    let saving = |members: &[usize], cost: f64| {
        members.iter().map(|&i| scales.alone[i].cost).sum::<f64>() - cost
    };
    let weighed = scales.weighed().into_iter();
    weighed
        .map(|(m, spur)| (saving(&m, spur.cost), m))
        .filter(|(s, _)| *s > LEAST_SAVING)
        .map(|(s, m)| (m, s))
        .collect()
}

/// A component's problem and the state of its search.
struct Packing<'a> {
    columns: &'a [Column],
    /// Columns of each fruit, most promising first.
    of_fruit: Vec<Vec<usize>>,
    price: Vec<f64>,
    best: Vec<usize>,
    best_saving: f64,
    nodes: usize,
    complete: bool,
}

impl<'a> Packing<'a> {
    fn new(fruit: usize, columns: &'a [Column], start: &[Vec<usize>]) -> Packing<'a> {
        let mut of_fruit = vec![Vec::new(); fruit];
        for (c, column) in columns.iter().enumerate() {
            for &i in &column.members {
                of_fruit[i].push(c);
            }
        }
        let best: Vec<usize> = start
            .iter()
            .filter_map(|m| columns.iter().position(|c| c.members == *m))
            .collect();
        let best_saving = best.iter().map(|&c| columns[c].saving).sum();
        let mut packing = Packing {
            columns,
            of_fruit,
            price: vec![0.0; fruit],
            best,
            best_saving,
            nodes: 0,
            complete: true,
        };
        packing.set_prices();
        packing
    }

    /// Prices that bound: from the best choice so far, by subgradient steps on the dual, then made to cover every
    /// column, then lowered one by one.
    fn set_prices(&mut self) {
        for &c in &self.best {
            let column = &self.columns[c];
            // fruit of a cluster
            let share = column.saving / column.members.len() as f64;
            for &i in &column.members {
                self.price[i] = share;
            }
        }
        for step in 0..PRICE_STEPS {
            // sixty at most
            let rate = 0.5 / (1.0 + step as f64 / 8.0);
            for column in self.columns {
                let short = column.saving - self.sum(column);
                if short > 0.0 {
                    // fruit of a cluster
                    let raise = rate * short / column.members.len() as f64;
                    column.members.iter().for_each(|&i| self.price[i] += raise);
                }
            }
            self.lower_prices(rate);
        }
        for column in self.columns {
            let short = column.saving - self.sum(column);
            if short > 0.0 {
                // fruit of a cluster
                let raise = short / column.members.len() as f64;
                column.members.iter().for_each(|&i| self.price[i] += raise);
            }
        }
        self.lower_prices(1.0);
    }

    /// Lowers each price by a share of what no column needs.
    fn lower_prices(&mut self, share: f64) {
        for i in 0..self.price.len() {
            let spare = self.of_fruit[i]
                .iter()
                .map(|&c| self.sum(&self.columns[c]) - self.columns[c].saving)
                .fold(self.price[i], f64::min);
            if spare > 0.0 {
                self.price[i] -= share * spare;
            }
        }
    }

    fn sum(&self, column: &Column) -> f64 {
        column.members.iter().map(|&i| self.price[i]).sum()
    }

    /// Depth first: the fruit with the highest price goes into one of its columns, or stays alone.
    fn search(&mut self, largest: usize) {
        for i in 0..self.of_fruit.len() {
            let mut of = std::mem::take(&mut self.of_fruit[i]);
            let promise = |c: &usize| self.columns[*c].saving - self.sum(&self.columns[*c]);
            of.sort_by(|a, b| promise(b).total_cmp(&promise(a)).then(a.cmp(b)));
            self.of_fruit[i] = of;
        }
        let mut order: Vec<usize> = (0..self.price.len()).collect();
        order.sort_by(|&a, &b| self.price[b].total_cmp(&self.price[a]).then(a.cmp(&b)));
        let bound = self.price.iter().sum();
        self.visit(
            &order,
            &mut vec![false; order.len()],
            &mut Vec::new(),
            0.0,
            bound,
            largest,
        );
    }

    fn visit(
        &mut self,
        order: &[usize],
        used: &mut Vec<bool>,
        taken: &mut Vec<usize>,
        saving: f64,
        open: f64,
        largest: usize,
    ) {
        if saving > self.best_saving + LEAST_SAVING {
            self.best_saving = saving;
            self.best.clone_from(taken);
        }
        if saving + open <= self.best_saving + LEAST_SAVING {
            return;
        }
        if self.nodes >= largest {
            self.complete = false;
            return;
        }
        self.nodes += 1;
        let Some((k, &i)) = order.iter().enumerate().find(|(_, i)| !used[**i]) else {
            return;
        };
        let order = &order[k + 1..];
        let columns = self.columns;
        used[i] = true;
        for at in 0..self.of_fruit[i].len() {
            let c = self.of_fruit[i][at];
            let column = &columns[c];
            let price = self.sum(column);
            // sorted: no later column can do better
            if saving + open + column.saving - price <= self.best_saving + LEAST_SAVING {
                break;
            }
            if column.members.iter().any(|&j| j != i && used[j]) {
                continue;
            }
            column.members.iter().for_each(|&j| used[j] = true);
            taken.push(c);
            self.visit(
                order,
                used,
                taken,
                saving + column.saving,
                open - price,
                largest,
            );
            taken.pop();
            column.members.iter().for_each(|&j| used[j] = j == i);
        }
        self.visit(order, used, taken, saving, open - self.price[i], largest);
        used[i] = false;
    }

    fn report(&self) -> ComponentReport {
        let bound: f64 = self.price.iter().sum();
        ComponentReport {
            fruit: self.price.len(),
            candidates: self.columns.len(),
            nodes: self.nodes,
            gap: if self.complete {
                0.0
            } else {
                (bound - self.best_saving).max(0.0)
            },
        }
    }

    fn clusters(&self) -> Vec<Vec<usize>> {
        let mut out: Vec<Vec<usize>> = self
            .best
            .iter()
            .map(|&c| self.columns[c].members.clone())
            .collect();
        let together: Vec<usize> = out.concat();
        out.extend(
            (0..self.price.len())
                .filter(|i| !together.contains(i))
                .map(|i| vec![i]),
        );
        out
    }
}

#[cfg(test)]
mod tests {
    use super::{Column, Packing};
    use proptest::prelude::*;

    fn brute_force(columns: &[Column], used: u32) -> f64 {
        let mut best: f64 = 0.0;
        for (c, column) in columns.iter().enumerate() {
            let mask: u32 = column.members.iter().map(|&i| 1 << i).sum();
            if used & mask == 0 {
                let rest = &columns[c + 1..];
                best = best.max(column.saving + brute_force(rest, used | mask));
            }
        }
        best
    }

    proptest! {
        #[test]
        fn the_search_finds_what_trying_everything_finds(
            raw in prop::collection::vec((1u32..256, 0.1..9.0f64), 1..14)
        ) {
            let columns: Vec<Column> = raw
                .iter()
                .map(|(mask, saving)| Column {
                    members: (0..8).filter(|i| mask >> i & 1 == 1).collect(),
                    saving: *saving,
                })
                .collect();
            let mut packing = Packing::new(8, &columns, &[]);
            packing.search(1_000_000);
            prop_assert!((packing.best_saving - brute_force(&columns, 0)).abs() < 1e-6);
            prop_assert_eq!(packing.report().gap, 0.0);
        }

        #[test]
        fn what_a_short_search_misses_lies_within_its_gap(
            raw in prop::collection::vec((1u32..256, 0.1..9.0f64), 1..14), nodes in 1usize..6
        ) {
            let columns: Vec<Column> = raw
                .iter()
                .map(|(mask, saving)| Column {
                    members: (0..8).filter(|i| mask >> i & 1 == 1).collect(),
                    saving: *saving,
                })
                .collect();
            let mut packing = Packing::new(8, &columns, &[]);
            packing.search(nodes);
            let missed = brute_force(&columns, 0) - packing.best_saving;
            prop_assert!(missed <= packing.report().gap + 1e-6);
        }
    }
}
