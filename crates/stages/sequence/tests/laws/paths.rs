//! Paths under precedences.

use corymb_sequence::Config;
use corymb_sequence::route::{Costs, Route, shortest};
use proptest::prelude::*;

fn costs(points: &[(i64, i64)]) -> Costs {
    Costs::of(points.len(), |a, b| {
        let (dx, dy) = (points[a].0 - points[b].0, points[a].1 - points[b].1);
        ((dx * dx + dy * dy) as f64).sqrt().round() as i64
    })
}

/// Precedences along chains: each place follows the one before it in its chain.
fn chains(len: usize, chain: &[u8]) -> Vec<Option<usize>> {
    (0..len)
        .map(|p| (0..p).rev().find(|&q| chain[q] == chain[p] && chain[p] < 4))
        .collect()
}

fn keeps(order: &[usize], before: &[Option<usize>]) -> bool {
    let at = |p: usize| order.iter().position(|&q| q == p).unwrap();
    (0..order.len()).all(|p| before[p].is_none_or(|b| at(b) < at(p)))
}

/// The cheapest of all permutations that keep the precedences.
fn by_permutations(
    costs: &Costs,
    before: &[Option<usize>],
    order: &mut Vec<usize>,
    best: &mut i64,
) {
    if order.len() == costs.len() {
        *best = (*best).min(costs.along(order));
        return;
    }
    for p in 0..costs.len() {
        if !order.contains(&p) && before[p].is_none_or(|b| order.contains(&b)) {
            order.push(p);
            by_permutations(costs, before, order, best);
            order.pop();
        }
    }
}

fn searched(costs: &Costs, before: &[Option<usize>]) -> Route {
    shortest(
        costs,
        before,
        &Config {
            exact_up_to: 0,
            ..Config::default()
        },
    )
}

fn is_permutation(order: &[usize]) -> bool {
    let mut sorted = order.to_vec();
    sorted.sort_unstable();
    sorted.iter().enumerate().all(|(k, &p)| k == p)
}

fn points(most: usize) -> impl Strategy<Value = Vec<(i64, i64)>> {
    prop::collection::vec((0i64..2000, 0i64..1000), 0..most)
}

/// A search gives no bound for a single path: chains leave local optima. Over many it loses next to nothing.
#[test]
fn search_loses_little_to_exact() {
    // the generator of Knuth's MMIX, for the same paths on every machine
    let mut state = 1u64;
    let mut below = |n: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005);
        state = state.wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % n
    };
    let (mut exact_sum, mut found_sum) = (0, 0);
    for _ in 0..100 {
        let points: Vec<(i64, i64)> = (0..12)
            .map(|_| (below(2000) as i64, below(1000) as i64))
            .collect();
        let chain: Vec<u8> = (0..12).map(|_| below(9) as u8).collect();
        let costs = costs(&points);
        let before = chains(points.len(), &chain);
        exact_sum += shortest(&costs, &before, &Config::default()).cost;
        found_sum += searched(&costs, &before).cost;
    }
    let lost = found_sum as f64 / exact_sum as f64 - 1.0;
    assert!((0.0..0.01).contains(&lost), "{lost}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn exact_is_the_best_permutation(points in points(8), chain in prop::collection::vec(0u8..7, 8)) {
        let costs = costs(&points);
        let before = chains(points.len(), &chain);
        let route = shortest(&costs, &before, &Config::default());
        let mut best = i64::MAX;
        by_permutations(&costs, &before, &mut Vec::new(), &mut best);
        prop_assert!(route.proved && is_permutation(&route.order) && keeps(&route.order, &before));
        prop_assert_eq!(route.order.len(), points.len());
        prop_assert_eq!(route.cost, costs.along(&route.order));
        prop_assert_eq!(route.cost, best);
    }

    #[test]
    fn search_keeps_precedences_and_is_never_better_than_exact(
        points in points(13),
        chain in prop::collection::vec(0u8..9, 13),
    ) {
        let costs = costs(&points);
        let before = chains(points.len(), &chain);
        let (exact, found) = (shortest(&costs, &before, &Config::default()), searched(&costs, &before));
        prop_assert!(is_permutation(&found.order) && keeps(&found.order, &before));
        prop_assert_eq!(found.cost, costs.along(&found.order));
        prop_assert!(found.cost >= exact.cost, "{} against {}", found.cost, exact.cost);
    }

    #[test]
    fn search_keeps_precedences_on_large_paths(
        points in prop::collection::vec((0i64..2000, 0i64..1000), 30..60),
        chain in prop::collection::vec(0u8..30, 60),
    ) {
        let costs = costs(&points);
        let before: Vec<Option<usize>> =
            (0..points.len()).map(|p| (0..p).rev().find(|&q| chain[q] == chain[p])).collect();
        let config = Config { kicks_per_order: 5, ..Config::default() };
        let found = shortest(&costs, &before, &config);
        prop_assert!(is_permutation(&found.order) && keeps(&found.order, &before));
        prop_assert_eq!(found.order.len(), points.len());
        prop_assert_eq!(&found, &shortest(&costs, &before, &config));
    }

    /// Under the triangle inequality one place less never makes the best path longer.
    #[test]
    fn a_place_less_is_never_longer(points in points(11), drop in 0usize..11) {
        let exact = Config { exact_up_to: 12, ..Config::default() };
        let euclid = |points: &[(i64, i64)]| {
            // in millionths, so that rounding cannot break the inequality by more than a few
            let scaled: Vec<_> = points.iter().map(|p| (p.0 * 1_000_000, p.1 * 1_000_000)).collect();
            let cost = Costs::of(points.len(), |a, b| {
                let (dx, dy) = (scaled[a].0 - scaled[b].0, scaled[a].1 - scaled[b].1);
                (dx as f64).hypot(dy as f64).round() as i64
            });
            shortest(&cost, &vec![None; points.len()], &exact).cost
        };
        let all = euclid(&points);
        let mut fewer = points.clone();
        if drop < fewer.len() {
            fewer.remove(drop);
        }
        prop_assert!(euclid(&fewer) <= all + 20);
    }
}

#[test]
fn a_ring_of_precedences_is_cut_not_followed_for_ever() {
    let costs = costs(&[(0, 0), (5, 0), (9, 0)]);
    let route = shortest(&costs, &[Some(2), Some(0), Some(1)], &Config::default());
    assert!(is_permutation(&route.order) && route.order.len() == 3);
    let route = shortest(&costs, &[Some(0), Some(7), None], &Config::default());
    assert!(is_permutation(&route.order));
}

#[test]
fn a_precedence_costs_what_it_must() {
    // on a line, the middle place last: 0, 10, 20 with 1 after 2, and 2 after 0
    let costs = costs(&[(0, 0), (10, 0), (20, 0)]);
    let route = shortest(&costs, &[None, Some(2), Some(0)], &Config::default());
    assert_eq!((route.order, route.cost), (vec![0, 2, 1], 30));
}
