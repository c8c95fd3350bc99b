//! All that an explanation may refer to.

use crate::candidates::{Candidate, is_kept};
use crate::plan::{TreePlan, least_gap_m};
use crate::standing::Standing;
use crate::worth::Worths;
use crate::{Config, Input};
use std::collections::BTreeMap;

/// Places along a limb (metres from its base) with their clusters, by tree and limb.
type Sites = BTreeMap<(Option<usize>, usize), Vec<(f64, usize)>>;

/// The choice as made, ready to be asked why.
#[derive(Debug)]
pub(crate) struct Facts<'a> {
    /// What the choice was made from.
    pub(crate) input: &'a Input<'a>,
    /// Status of every fruitlet.
    pub(crate) standing: &'a Standing,
    /// Worth of every fruitlet.
    pub(crate) worth: &'a Worths,
    /// Candidates of every cluster.
    pub(crate) candidates: &'a [Vec<Candidate<'a>>],
    /// The chosen candidate of every cluster.
    chosen: Vec<Option<usize>>,
    /// Clusters with fruit that is meant to stay, by tree and limb, ascending along it.
    occupied: Sites,
    least_gap_m: Option<f64>,
}

impl<'a> Facts<'a> {
    /// O(clusters log clusters).
    pub(crate) fn of(
        input: &'a Input<'a>,
        standing: &'a Standing,
        worth: &'a Worths,
        candidates: &'a [Vec<Candidate<'a>>],
        plans: &[TreePlan],
        config: &Config,
    ) -> Self {
        let mut chosen = vec![None; candidates.len()];
        for &(cluster, candidate) in plans.iter().flat_map(|p| &p.picks) {
            chosen[cluster] = Some(candidate);
        }
        let least_gap_m = least_gap_m(input.policy, config);
        let mut facts = Self {
            input,
            standing,
            worth,
            candidates,
            chosen,
            occupied: BTreeMap::new(),
            least_gap_m,
        };
        facts.occupied = facts.occupied_limbs();
        facts
    }

    fn occupied_limbs(&self) -> Sites {
        let mut occupied = Sites::new();
        for (c, cluster) in self.input.map.clusters.iter().enumerate() {
            let place = cluster
                .limb_idx
                .zip(cluster.along_limb_m.filter(|a| a.is_finite()));
            if let Some((limb, along_m)) = place
                && self.chosen(c).is_some_and(|way| !way.stays.is_empty())
            {
                occupied
                    .entry((cluster.tree_idx, limb))
                    .or_default()
                    .push((along_m, c));
            }
        }
        let id = |c: usize| &self.input.map.clusters[c].id;
        for sites in occupied.values_mut() {
            sites.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| id(a.1).cmp(id(b.1))));
        }
        occupied
    }

    /// What was chosen for a cluster.
    pub(crate) fn chosen(&self, cluster: usize) -> Option<&'a Candidate<'a>> {
        self.candidates
            .get(cluster)?
            .get((*self.chosen.get(cluster)?)?)
    }

    /// Fruit of a cluster that stays by decision, by id.
    pub(crate) fn kept(&self, cluster: usize) -> impl Iterator<Item = usize> {
        let stays = self.chosen(cluster).map_or(&[][..], |way| &way.stays);
        stays
            .iter()
            .copied()
            .filter(|&i| is_kept(self.standing.status[i]))
    }

    /// Worth of a fruitlet under the way chosen for its cluster.
    pub(crate) fn worth_as_chosen(&self, fruitlet: usize) -> f64 {
        let cluster = self.input.map.fruitlets[fruitlet].cluster_idx;
        self.worth.whole(
            fruitlet,
            self.chosen(cluster).map_or(0.0, Candidate::success),
        )
    }

    /// The nearest cluster on the same limb that keeps fruit and lies within the spacing, with the gap in metres.
    pub(crate) fn too_near(&self, cluster: usize) -> Option<(usize, f64)> {
        let least_gap_m = self.least_gap_m?;
        let here = self.input.map.clusters.get(cluster)?;
        let along_m = here.along_limb_m?;
        let sites = self.occupied.get(&(here.tree_idx, here.limb_idx?))?;
        let others = sites.iter().filter(|(_, c)| *c != cluster);
        let gaps = others.map(|&(at_m, c)| (c, (at_m - along_m).abs()));
        gaps.filter(|(_, gap_m)| *gap_m < least_gap_m)
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Neighbours along a limb of a tree that keep fruit closer together than the spacing, with the gap in metres.
    pub(crate) fn narrow_gaps(&self, tree_idx: Option<usize>) -> Vec<(usize, usize, f64)> {
        let Some(least_gap_m) = self.least_gap_m else {
            return Vec::new();
        };
        let limbs = self
            .occupied
            .iter()
            .filter(|((tree, _), _)| *tree == tree_idx);
        let pairs = limbs.flat_map(|(_, sites)| sites.iter().zip(sites.iter().skip(1)));
        let gaps = pairs.map(|(a, b)| (a.1, b.1, b.0 - a.0));
        gaps.filter(|(_, _, gap_m)| *gap_m < least_gap_m).collect()
    }
}
