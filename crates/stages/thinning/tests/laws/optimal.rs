//! The choice is the best there is: every combination tried on small trees.

use crate::block::{Block, Fruit, Spur, policy};
use corymb_model::decisions::{Action, Decisions};
use corymb_model::policy::{Pin, PinAs, Pinned};
use corymb_model::ways::Way;
use proptest::prelude::*;
use proptest::sample::select;

/// Larger is better: pins, bounds, fruit meant to stay, excess of what hangs in the clusters, worth, ids.
type Quality = (i64, i64, i64, i64, i64, i64);

/// What a way does to a cluster: what hangs there afterwards, and what of it is meant to stay.
struct Effect {
    hangs: Vec<usize>,
    stays: Vec<usize>,
}

fn fruit() -> impl Strategy<Value = Fruit> {
    let king = select(vec![0.0, 0.25, 0.5]);
    let existence = select(vec![1.0, 1.0, 1.0, 0.9, 0.6, 0.3]);
    let membership = select(vec![1.0, 1.0, 1.0, 0.8, 0.5]);
    let reachable = select(vec![true, true, true, false]);
    (
        king,
        select(vec![18.0, 20.0, 22.0]),
        existence,
        membership,
        reachable,
    )
        .prop_map(
            |(king, diameter_mm, existence, membership, reachable)| Fruit {
                king,
                diameter_mm,
                existence,
                membership,
                reachable,
            },
        )
}

fn spur() -> impl Strategy<Value = Spur> {
    let place = prop_oneof![1 => Just(None), 5 => (0usize..2, 0u32..8).prop_map(|(l, k)| Some((l, 50 * k)))];
    let success = prop::collection::vec(select(vec![0.5, 0.75, 1.0]), 0..5);
    (place, prop::collection::vec(fruit(), 1..4), success).prop_map(|(place, fruit, success)| {
        Spur {
            tree: 0,
            place,
            fruit,
            success,
        }
    })
}

fn pin() -> impl Strategy<Value = Pin> {
    let what = prop_oneof![
        (0usize..8).prop_map(|i| Pinned::Fruitlet(format!("f{i:03}"))),
        (0usize..5).prop_map(|i| Pinned::Cluster(format!("c{i:03}"))),
        (0usize..2).prop_map(|i| Pinned::Limb(format!("t0l{i}"))),
    ];
    (
        what,
        select(vec![PinAs::Keep, PinAs::Remove, PinAs::LeaveAlone]),
    )
        .prop_map(|(what, as_)| Pin { what, as_ })
}

fn block() -> impl Strategy<Value = Block> {
    let spacing = select(vec![None, Some(0.1), Some(0.15)]);
    let bound = select(vec![None, Some(1.0), Some(2.0), Some(4.5)]);
    let pins = prop_oneof![2 => Just(Vec::new()), 1 => prop::collection::vec(pin(), 1..3)];
    (
        prop::collection::vec(spur(), 1..5),
        1usize..3,
        bound,
        spacing,
        pins,
    )
        .prop_map(|(spurs, keep, bound, spacing, pins)| {
            let mut policy = policy(keep, bound, spacing);
            policy.pins = pins;
            Block::of(&spurs, policy)
        })
}

/// The pin that holds for a fruitlet, written down anew from the contract.
fn pinned(block: &Block, i: usize) -> Option<PinAs> {
    let cluster = &block.map.clusters[block.map.fruitlets[i].cluster_idx];
    let limb = cluster
        .limb_idx
        .map(|l| &block.orchard.trees[0].limbs[l].id);
    let level = |p: &Pin| match &p.what {
        Pinned::Fruitlet(id) => (*id == block.map.fruitlets[i].id).then_some(3),
        Pinned::Cluster(id) => (*id == cluster.id).then_some(2),
        Pinned::Limb(id) => (Some(id) == limb).then_some(1),
        Pinned::Tree(_) => None,
    };
    let holding = block
        .policy
        .pins
        .iter()
        .filter_map(|p| Some((level(p)?, p.as_)));
    holding.max_by_key(|(level, _)| *level).map(|(_, as_)| as_)
}

fn is_sure(block: &Block, i: usize) -> bool {
    let f = &block.map.fruitlets[i];
    f.existence >= block.policy.act_above && f.cluster_probability >= block.policy.act_above
}

fn is_free(block: &Block, i: usize) -> bool {
    pinned(block, i).is_none() && is_sure(block, i)
}

/// What a way does to a cluster; `None` where it may not be done.
fn effect(block: &Block, cluster: usize, way: &Way) -> Option<Effect> {
    let members: Vec<usize> = block.map.clusters[cluster]
        .members
        .iter()
        .copied()
        .filter(|&i| block.map.fruitlets[i].is_decided())
        .collect();
    let goes = &way.removed_without_tool;
    let may_go = |i: usize| {
        members.contains(&i)
            && match pinned(block, i) {
                Some(PinAs::Keep | PinAs::LeaveAlone) => false,
                Some(PinAs::Remove) => true,
                None => is_sure(block, i),
            }
    };
    if !goes.iter().all(|&i| may_go(i)) {
        return None;
    }
    let mut hangs = members.clone();
    hangs.retain(|i| !goes.contains(i));
    let mut stays = hangs.clone();
    stays.retain(|&i| !(way.refused.iter().any(|r| r.fruitlet_idx == i) && may_go(i)));
    let gives_up = |&i: &usize| is_free(block, i) && !stays.contains(&i);
    let keeps_sure = stays.iter().any(|&i| is_sure(block, i));
    if !stays.is_empty() && !keeps_sure && members.iter().any(gives_up) {
        return None;
    }
    Some(Effect { hangs, stays })
}

fn quality(block: &Block, ways: &[&Way]) -> Option<Quality> {
    let effects: Option<Vec<_>> = ways
        .iter()
        .enumerate()
        .map(|(c, way)| effect(block, c, way))
        .collect();
    let effects = effects?;
    let most = block.policy.keep_at_most;
    let excess = |list: &[usize]| list.len().saturating_sub(most) as i64;
    let decided: Vec<_> = block
        .map
        .fruitlets
        .iter()
        .filter(|f| f.is_decided())
        .collect();
    let mean_m = decided.iter().map(|f| f.diameter_m).sum::<f64>() / decided.len() as f64;
    let mut q: Quality = (0, 0, 0, 0, 0, 0);
    for (effect, way) in effects.iter().zip(ways) {
        q.1 -= excess(&effect.stays);
        q.2 += effect.stays.len() as i64;
        q.3 -= excess(&effect.hangs);
        for &i in &effect.stays {
            q.0 -= i64::from(pinned(block, i) == Some(PinAs::Remove));
            if pinned(block, i) == Some(PinAs::Keep) || is_free(block, i) {
                let f = &block.map.fruitlets[i];
                let p = &block.policy.prefer;
                let worth = p.king * f.king_probability
                    + p.diameter * f.diameter_m / mean_m
                    + p.reach * way.probability;
                q.4 += (worth / 1e-9).round() as i64;
                q.5 -= i as i64;
            }
        }
    }
    q.1 -= narrow_gaps(block, &effects);
    let over = block
        .policy
        .target
        .fruit_per_tree
        .map_or(0, |n| (q.2 - n.floor() as i64).max(0));
    q.1 -= over;
    Some(q)
}

/// Gaps below the spacing between neighbours that keep fruit.
fn narrow_gaps(block: &Block, effects: &[Effect]) -> i64 {
    let Some(spacing_m) = block.policy.spacing_along_limb_m else {
        return 0;
    };
    let mut gaps = 0;
    for limb in 0..3 {
        let mut on: Vec<usize> = (0..effects.len()).collect();
        on.retain(|&c| {
            block.map.clusters[c].limb_idx == Some(limb) && !effects[c].stays.is_empty()
        });
        let along = |c: usize| block.map.clusters[c].along_limb_m.unwrap();
        on.sort_by(|&a, &b| along(a).total_cmp(&along(b)).then(a.cmp(&b)));
        let is_narrow = |pair: &&[usize]| along(pair[1]) - along(pair[0]) < spacing_m - 1e-9;
        gaps += on.windows(2).filter(is_narrow).count() as i64;
    }
    gaps
}

fn best(block: &Block) -> Quality {
    let mut all: Vec<Quality> = Vec::new();
    let mut picks = vec![0; block.ways.len()];
    'all: loop {
        let ways: Vec<&Way> = picks
            .iter()
            .zip(&block.ways)
            .map(|(&p, w)| &w.ways[p])
            .collect();
        all.extend(quality(block, &ways));
        for (pick, w) in picks.iter_mut().zip(&block.ways) {
            *pick += 1;
            if *pick < w.ways.len() {
                continue 'all;
            }
            *pick = 0;
        }
        break;
    }
    all.into_iter()
        .max()
        .expect("to leave all as it is may be done")
}

fn as_chosen(block: &Block, decisions: &Decisions) -> Quality {
    let as_it_is: Vec<Way> = (block.map.clusters.iter())
        .map(|c| Way {
            keepers: c.members.clone(),
            probability: 1.0,
            ..Way::default()
        })
        .collect();
    let mut ways: Vec<&Way> = as_it_is.iter().collect();
    for (c, way) in &decisions.chosen {
        ways[*c] = way;
    }
    quality(block, &ways).expect("the chosen ways may be done")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_combination_of_ways_is_better(block in block()) {
        let decisions = block.decide();
        prop_assert_eq!(as_chosen(&block, &decisions), best(&block));
    }

    #[test]
    fn actions_agree_with_the_chosen_ways(block in block()) {
        let decisions = block.decide();
        let decided = block.map.fruitlets.iter().filter(|f| f.is_decided()).count();
        prop_assert_eq!(decisions.decisions.len(), decided);
        let mut goes: Vec<usize> = Vec::new();
        for (_, way) in &decisions.chosen {
            goes.extend(&way.removed_without_tool);
            goes.extend(way.refused.iter().map(|r| r.fruitlet_idx));
        }
        goes.sort_unstable();
        let said = decisions.decisions.iter().filter(|d| d.action == Action::Remove);
        prop_assert_eq!(said.map(|d| d.fruitlet_idx).collect::<Vec<_>>(), goes);
        for d in &decisions.decisions {
            prop_assert!((0.0..=1.0).contains(&d.confidence));
            let waits = pinned(&block, d.fruitlet_idx).is_none() && !is_sure(&block, d.fruitlet_idx);
            prop_assert_eq!(d.action == Action::LookAgain, waits);
        }
        let load = &decisions.trees[0];
        prop_assert_eq!(load.kept + load.removed + load.look_again, load.found);
    }

    #[test]
    fn the_order_of_the_input_changes_nothing(block in block(), seed in any::<u64>()) {
        let straight = block.decide();
        let (shuffled, place) = shuffled(&block, seed);
        let decided = shuffled.decide();
        for d in &straight.decisions {
            let same = decided.decisions.iter().find(|e| e.fruitlet_idx == place[d.fruitlet_idx]).unwrap();
            prop_assert_eq!((d.action, d.rule, &d.reason), (same.action, same.rule, &same.reason));
            prop_assert_eq!(d.confidence.to_bits(), same.confidence.to_bits());
        }
        prop_assert_eq!(straight.trees, decided.trees);
    }
}

/// The block with fruitlets, clusters and ways in another order, and the new place of each fruitlet.
fn shuffled(block: &Block, seed: u64) -> (Block, Vec<usize>) {
    let key = |i: usize, salt: u64| {
        (seed ^ salt)
            .wrapping_mul(i as u64 * 2 + 1)
            .wrapping_mul(0x9E37_79B9_7F4A_7C15)
    };
    let order = |n: usize, salt: u64| {
        let mut order: Vec<usize> = (0..n).collect();
        order.sort_by_key(|&i| (key(i, salt), i));
        order
    };
    let fruit_order = order(block.map.fruitlets.len(), 1);
    let cluster_order = order(block.map.clusters.len(), 2);
    let inverse = |order: &[usize]| {
        let mut place = vec![0; order.len()];
        for (new, &old) in order.iter().enumerate() {
            place[old] = new;
        }
        place
    };
    let (fruit_place, cluster_place) = (inverse(&fruit_order), inverse(&cluster_order));
    let moved = |list: &[usize]| {
        let mut list: Vec<usize> = list.iter().map(|&i| fruit_place[i]).collect();
        list.sort_unstable();
        list
    };
    let mut out = block.clone();
    out.map.fruitlets = fruit_order
        .iter()
        .map(|&i| block.map.fruitlets[i].clone())
        .collect();
    out.map.clusters = cluster_order
        .iter()
        .map(|&c| block.map.clusters[c].clone())
        .collect();
    for f in &mut out.map.fruitlets {
        f.cluster_idx = cluster_place[f.cluster_idx];
    }
    for c in &mut out.map.clusters {
        c.members = moved(&c.members);
    }
    out.ways = order(block.ways.len(), 3)
        .iter()
        .map(|&w| block.ways[w].clone())
        .collect();
    for entry in &mut out.ways {
        entry.cluster_idx = cluster_place[entry.cluster_idx];
        for way in &mut entry.ways {
            way.keepers = moved(&way.keepers);
            way.removed_without_tool = moved(&way.removed_without_tool);
            for r in &mut way.refused {
                r.fruitlet_idx = fruit_place[r.fruitlet_idx];
            }
        }
        let n = entry.ways.len();
        entry.ways = order(n, 4).iter().map(|&w| entry.ways[w].clone()).collect();
    }
    (out, fruit_place)
}
