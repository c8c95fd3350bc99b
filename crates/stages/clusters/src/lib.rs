//! From fruitlets to clusters: spurs that explain their fruit.
//!
//! A cluster is a spur, a point on or near a limb from which all its stems come. Which fruit hang on which spur is a
//! facility-location problem whose facilities may be anywhere: opening a spur costs by how rare spurs are where it lies
//! (`habit`), serving a fruit from it by how badly stem length, axis and stem agree (`fruit`), and a cluster's place
//! and cost follow from its members (`spur`). Fruit is joined and moved to a local optimum (`search`), then every
//! cluster weighed on the way competes in an exact choice with a stated gap (`exact`); what the clusters show about
//! the run replaces the priors (`learn`) and the division is repeated. Kings, limbs and trees follow from the spurs,
//! probabilities from the next best divisions (`odds`).
//!
//! Density clustering of the centres fails where clusters are closer together than fruit within them; stems and axes
//! tell them apart all the same.

mod assemble;
mod config;
mod exact;
mod fruit;
mod habit;
mod hang;
mod king;
mod learn;
mod odds;
mod place;
mod search;
mod spur;
mod stem;
mod wood;

pub use config::Config;
pub use exact::ComponentReport;

use corymb_model::map::CropMap;
use corymb_model::run::Run;
use corymb_model::scene::Scene;
use fruit::Fruit;
use habit::Habit;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use search::{Partition, union};
use spur::{Scales, Spur};
use wood::Wood;

/// A crop map and how it came about.
#[derive(Debug, Clone, Default)]
pub struct Clustering {
    /// The map.
    pub map: CropMap,
    /// How well each connected group of fruit was divided, in the order of their fruit.
    pub components: Vec<ComponentReport>,
    /// What the run did not offer.
    pub lacked: Vec<Lacking>,
}

/// Evidence that a run can be without.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lacking {
    /// No limbs are known: trees and limbs stay open, spurs float.
    Limbs,
    /// No stem was seen.
    Stems,
    /// No axis is known.
    Axes,
}

/// The crop map of a scene: clusters, axes, kings, limbs and trees. See [`clustered`].
#[must_use]
pub fn cluster(run: &Run, scene: &Scene, config: &Config) -> CropMap {
    clustered(run, scene, config).map
}

/// The crop map of a scene with a report on the search.
///
/// Fruitlets `f0001` .. stand in the order of `scene.bodies`, clusters `c0001` .. in the order of their first members.
/// Works without limbs, stems or axes, the worse the less there is. Bodies of existence below
/// [`Config::founds_from`] join the clusters of others or stay alone. The result depends on the input alone.
/// O(n log n) for the neighbourhoods; some twenty weighed clusters a fruit, a few microseconds each.
#[must_use]
pub fn clustered(run: &Run, scene: &Scene, config: &Config) -> Clustering {
    let fruit: Vec<Fruit> = scene.bodies.iter().map(|b| Fruit::new(b, config)).collect();
    let wood = Wood::new(run.orchard.as_ref());
    let near = neighbours(&fruit, config);
    let sure: Vec<bool> = scene
        .bodies
        .iter()
        .map(|b| b.existence >= config.founds_from)
        .collect();
    let prior = Habit::prior(config, run.noise.limb_m.unwrap_or(config.limb_deviation_m));
    let (scales, founded, components) = divide(&fruit, &wood, &near, &sure, &prior, config);
    let (partition, spurs) = take_in(&scales, &near, &sure, &founded);
    let odds = odds::odds(&scales, &near, &partition);
    let map = assemble::assemble(run, scene, &scales, &wood, &partition, &spurs, &odds);
    Clustering {
        map,
        components,
        lacked: lacking(&fruit, &wood),
    }
}

/// For each fruit those near enough to share a spur, ascending.
fn neighbours(fruit: &[Fruit], config: &Config) -> Vec<Vec<usize>> {
    let points: Vec<[f64; 3]> = fruit.iter().map(|f| f.centre.into()).collect();
    let Ok(tree) = ImmutableKdTree::<f64, 3>::new_from_slice(&points) else {
        return vec![Vec::new(); fruit.len()];
    };
    let widest = fruit.iter().map(|f| f.reach_m).fold(0.0, f64::max);
    let of = |i: usize| {
        let reach = fruit[i].reach_m + widest + 2.0 * config.longest_stem_m;
        let found = tree
            .query(&points[i])
            .within::<SquaredEuclidean<f64>>(reach * reach)
            .execute();
        let mut near: Vec<usize> = found
            .into_iter()
            .map(|f| f.item as usize)
            .filter(|&j| j != i && spur::could_share(&fruit[i], &fruit[j], config))
            .collect();
        near.sort_unstable();
        near
    };
    (0..fruit.len()).map(of).collect()
}

/// Divides the sure fruit, learning from each division for the next; the others stay alone for now.
fn divide<'a>(
    fruit: &'a [Fruit],
    wood: &Wood,
    near: &[Vec<usize>],
    sure: &[bool],
    prior: &Habit,
    config: &'a Config,
) -> (Scales<'a>, Partition, Vec<ComponentReport>) {
    let among = |i: usize| {
        if sure[i] {
            near[i].iter().copied().filter(|&j| sure[j]).collect()
        } else {
            Vec::new()
        }
    };
    let near: Vec<Vec<usize>> = (0..near.len()).map(among).collect();
    let mut scales = Scales::new(fruit, wood, prior.clone(), config);
    let mut partition = search::improve(&scales, &near, search::join_all(&scales, &near));
    for _ in 1..config.rounds.max(1) {
        let shown = partition
            .iter()
            .filter(|m| m.iter().all(|&i| sure[i]))
            .cloned()
            .collect();
        scales = Scales::new(fruit, wood, learn::learn(&scales, &shown, prior), config);
        partition = search::improve(&scales, &near, partition);
    }
    let (partition, components) = exact::settle(&scales, &partition, config);
    (scales, partition, components)
}

/// Lets unsure fruit join the clusters that explain it better than a spur of its own; their spurs stay where the sure
/// fruit has them.
fn take_in(
    scales: &Scales<'_>,
    near: &[Vec<usize>],
    sure: &[bool],
    founded: &Partition,
) -> (Partition, Vec<Spur>) {
    let mut of = vec![0; near.len()];
    for (k, members) in founded.iter().enumerate() {
        members.iter().for_each(|&i| of[i] = k);
    }
    let mut joined: Vec<Vec<usize>> = founded.clone();
    for i in (0..near.len()).filter(|&i| !sure[i]) {
        let mut hosts: Vec<usize> = near[i]
            .iter()
            .filter(|&&j| sure[j])
            .map(|&j| of[j])
            .collect();
        hosts.sort_unstable();
        hosts.dedup();
        let saving = |&k: &usize| {
            scales.alone[i].cost + scales.weigh(&founded[k]).cost
                - scales.weigh(&union(&founded[k], &[i])).cost
        };
        let best = hosts
            .iter()
            .map(|k| (saving(k), *k))
            .filter(|(s, _)| *s > 0.0);
        if let Some((_, host)) = best.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1))) {
            joined[of[i]].clear();
            joined[host] = union(&joined[host], &[i]);
        }
    }
    let spurs = founded.iter().map(|m| scales.weigh(m));
    let mut both: Vec<(Vec<usize>, Spur)> = joined
        .into_iter()
        .zip(spurs)
        .filter(|(m, _)| !m.is_empty())
        .collect();
    both.sort_by(|a, b| a.0.cmp(&b.0));
    both.into_iter().unzip()
}

fn lacking(fruit: &[Fruit], wood: &Wood) -> Vec<Lacking> {
    let missing = [
        (wood.is_empty(), Lacking::Limbs),
        (fruit.iter().all(|f| f.stem.is_none()), Lacking::Stems),
        (fruit.iter().all(|f| f.axis.is_none()), Lacking::Axes),
    ];
    missing
        .into_iter()
        .filter(|(is, _)| *is)
        .map(|(_, what)| what)
        .collect()
}
