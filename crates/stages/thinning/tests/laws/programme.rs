//! A general integer programme as an independent check on trees too large to try everything.

use crate::block::{Block, Fruit, Spur, policy};
use corymb_model::ways::Way;
use microlp::{ComparisonOp, LinearExpr, OptimizationDirection, Problem, Variable};
use proptest::prelude::*;

/// Fruit meant to stay, excess of what hangs in the clusters, and total worth, of the chosen ways; every cluster may be
/// given up, so the bounds can be met.
fn by_choice(block: &Block) -> (usize, usize, f64) {
    let decisions = block.decide();
    let mut ways: Vec<Way> = (block.map.clusters.iter())
        .map(|c| Way {
            keepers: c.members.clone(),
            probability: 1.0,
            ..Way::default()
        })
        .collect();
    for (c, way) in decisions.chosen {
        ways[c] = way;
    }
    (
        ways.iter().map(|w| w.keepers.len()).sum(),
        ways.iter().map(|w| excess(block, w)).sum(),
        ways.iter().map(|w| worth(block, w)).sum(),
    )
}

/// Fruit above what a cluster may hold, refused fruit included.
fn excess(block: &Block, way: &Way) -> usize {
    (way.keepers.len() + way.refused.len()).saturating_sub(block.policy.keep_at_most)
}

fn worth(block: &Block, way: &Way) -> f64 {
    let fruit = &block.map.fruitlets;
    let mean_m = fruit.iter().map(|f| f.diameter_m).sum::<f64>() / fruit.len() as f64;
    let prefer = &block.policy.prefer;
    let one = |i: &usize| {
        let f = &fruit[*i];
        prefer.king * f.king_probability
            + prefer.diameter * f.diameter_m / mean_m
            + prefer.reach * way.probability
    };
    way.keepers.iter().map(one).sum()
}

/// Fruit meant to stay, then excess with that number fixed, then worth with both fixed, by branch and bound.
fn by_programme(block: &Block) -> (usize, usize, f64) {
    let count = solve(block, None, None, |_, way| way.keepers.len() as f64).round();
    let hanging = -solve(block, Some(count), None, |block, way| {
        -(excess(block, way) as f64)
    })
    .round();
    let worth = solve(block, Some(count), Some(hanging), worth);
    (count as usize, hanging as usize, worth)
}

fn solve(
    block: &Block,
    fixed_count: Option<f64>,
    fixed_hanging: Option<f64>,
    gain: impl Fn(&Block, &Way) -> f64,
) -> f64 {
    let mut problem = Problem::new(OptimizationDirection::Maximize);
    let mut total = LinearExpr::empty();
    let mut hanging = LinearExpr::empty();
    let mut keeps: Vec<Vec<Variable>> = Vec::new();
    for entry in &block.ways {
        let mut one = LinearExpr::empty();
        let mut keeping = Vec::new();
        for way in entry
            .ways
            .iter()
            .filter(|w| w.keepers.len() <= block.policy.keep_at_most)
        {
            let chosen = problem.add_binary_var(gain(block, way));
            one.add(chosen, 1.0);
            total.add(chosen, way.keepers.len() as f64);
            hanging.add(chosen, excess(block, way) as f64);
            if !way.keepers.is_empty() {
                keeping.push(chosen);
            }
        }
        problem.add_constraint(one, ComparisonOp::Eq, 1.0);
        keeps.push(keeping);
    }
    let target = block
        .policy
        .target
        .fruit_per_tree
        .unwrap_or(f64::MAX)
        .floor();
    problem.add_constraint(total.clone(), ComparisonOp::Le, target);
    if let Some(count) = fixed_count {
        problem.add_constraint(total, ComparisonOp::Eq, count);
    }
    if let Some(fixed) = fixed_hanging {
        problem.add_constraint(hanging, ComparisonOp::Eq, fixed);
    }
    for clique in cliques(block) {
        let mut at_most_one = LinearExpr::empty();
        clique
            .iter()
            .flat_map(|&c| &keeps[c])
            .for_each(|v| at_most_one.add(*v, 1.0));
        problem.add_constraint(at_most_one, ComparisonOp::Le, 1.0);
    }
    problem
        .solve()
        .expect("giving up every cluster meets every bound")
        .into_solution()
        .expect("no limit interrupts it")
        .objective()
}

/// Sets of clusters of which one at most may keep fruit: for each cluster, those up to the spacing further out.
fn cliques(block: &Block) -> Vec<Vec<usize>> {
    let spacing_m = block.policy.spacing_along_limb_m.unwrap_or(0.0) - 1e-9;
    let clusters = &block.map.clusters;
    let from = |a: usize| {
        let near = |b: &usize| {
            let gap_m = clusters[*b].along_limb_m.unwrap() - clusters[a].along_limb_m.unwrap();
            let is_after = gap_m > 0.0 || (gap_m == 0.0 && *b >= a);
            clusters[*b].limb_idx == clusters[a].limb_idx && is_after && gap_m < spacing_m
        };
        (0..clusters.len()).filter(near).collect::<Vec<_>>()
    };
    (0..clusters.len())
        .map(from)
        .filter(|clique| clique.len() > 1)
        .collect()
}

fn block() -> impl Strategy<Value = Block> {
    let fruit = (0.0..1.0f64, 15.0..25.0f64, prop::bool::weighted(0.7));
    let fruit = fruit.prop_map(|(king, mm, reachable)| Fruit {
        reachable,
        ..Fruit::sure(king, mm)
    });
    let spur = (
        0usize..3,
        0u32..900,
        prop::collection::vec(fruit, 1..4),
        prop::collection::vec(0.3..1.0f64, 5),
    )
        .prop_map(|(limb, mm, fruit, success)| Spur {
            tree: 0,
            place: Some((limb, mm)),
            fruit,
            success,
        });
    (prop::collection::vec(spur, 12..22), 4u32..14, 1usize..3).prop_map(|(spurs, bound, keep)| {
        Block::of(&spurs, policy(keep, Some(f64::from(bound)), Some(0.08)))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn an_integer_programme_finds_nothing_better(block in block()) {
        let (count, hanging, worth) = by_choice(&block);
        let (most, least, best) = by_programme(&block);
        prop_assert_eq!((count, hanging), (most, least));
        // the programme works to about 1e-8, the choice to a billionth a fruit
        prop_assert!((worth - best).abs() < 1e-6, "{worth} chosen, {best} possible");
    }
}
