//! What the parts of the score share: the input with its labels, its matching and its true clusters.

use crate::association::Claims;
use crate::input::ScoreInput;
use crate::labels::Labels;
use crate::matching::Matching;
use crate::shift::Moved;
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::orchard::OrchardModel;
use corymb_model::truth::{TrueFruitlet, Truth};
use nalgebra::Vector3;
use std::collections::BTreeMap;

/// A map to be judged, moved or as it is.
pub(crate) struct Case<'a> {
    pub(crate) input: &'a ScoreInput<'a>,
    pub(crate) map: &'a CropMap,
    pub(crate) labels: &'a Labels<'a>,
    pub(crate) claims: &'a Claims,
    pub(crate) clusters: &'a TrueClusters,
    pub(crate) moved: &'a Moved,
    pub(crate) matching: Matching,
}

impl<'a> Case<'a> {
    pub(crate) fn truth(&self) -> &'a Truth {
        self.input.truth
    }

    /// Matched pairs of considered fruit: (position in the map, map fruitlet, true fruitlet).
    pub(crate) fn pairs(
        &self,
    ) -> impl Iterator<Item = (usize, &'a Fruitlet, &'a TrueFruitlet)> + '_ {
        let (map, truth) = (self.map, self.truth());
        self.matching
            .both
            .iter()
            .filter_map(move |&(k, g)| Some((k, map.fruitlets.get(k)?, truth.fruitlets.get(g)?)))
    }

    /// Map fruitlets that get decisions, with their positions.
    pub(crate) fn decided(&self) -> impl Iterator<Item = (usize, &'a Fruitlet)> + use<'a> {
        self.map
            .fruitlets
            .iter()
            .enumerate()
            .filter(|(_, f)| f.is_decided())
    }

    /// Those of them that the truth can judge.
    pub(crate) fn judged(&self) -> impl Iterator<Item = (usize, &'a Fruitlet)> + '_ {
        self.decided()
            .filter(|&(k, _)| self.truth_of(k).is_some() || !self.is_silent(k))
    }

    /// True fruitlet of a map fruitlet.
    pub(crate) fn truth_of(&self, map_idx: usize) -> Option<usize> {
        self.matching.truth_of.get(map_idx).copied().flatten()
    }

    /// Whether a map fruitlet is no true one, and the truth would say so if it were.
    pub(crate) fn is_false(&self, map_idx: usize) -> bool {
        self.truth_of(map_idx).is_none() && !self.is_silent(map_idx)
    }

    /// Whether the truth says nothing about a map fruitlet that has no pair.
    pub(crate) fn is_silent(&self, map_idx: usize) -> bool {
        self.matching.silent.get(map_idx).copied().unwrap_or(false)
    }

    /// Map fruitlet of a true fruitlet.
    pub(crate) fn map_of(&self, truth_idx: usize) -> Option<usize> {
        self.matching.map_of.get(truth_idx).copied().flatten()
    }

    /// Centre of a map fruitlet after the move.
    pub(crate) fn centre(&self, map_idx: usize) -> Option<Vector3<f64>> {
        Some(self.map.fruitlets.get(map_idx)?.centre.xyz + self.moved.fruitlet.get(map_idx)?)
    }

    /// The orchard as it truly is: that of the truth, else the one of the run.
    pub(crate) fn true_orchard(&self) -> Option<&'a OrchardModel> {
        self.input.true_orchard.or(self.input.run.orchard.as_ref())
    }

    /// Name of the tree that the map gives a fruitlet to.
    pub(crate) fn tree_of(&self, fruitlet: &Fruitlet) -> Option<&'a str> {
        let orchard = self.input.run.orchard.as_ref()?;
        Some(orchard.trees.get(fruitlet.tree_idx?)?.id.as_str())
    }

    /// Name of the limb that the map gives a fruitlet's cluster to.
    pub(crate) fn limb_of(&self, fruitlet: &Fruitlet) -> Option<&'a str> {
        let cluster = self.map.clusters.get(fruitlet.cluster_idx)?;
        let tree = self
            .input
            .run
            .orchard
            .as_ref()?
            .trees
            .get(cluster.tree_idx?)?;
        Some(tree.limbs.get(cluster.limb_idx?)?.id.as_str())
    }

    /// Positions of the map fruitlets with decisions that the truth can judge in each map cluster that has any.
    pub(crate) fn map_clusters(&self) -> BTreeMap<usize, Vec<usize>> {
        let mut clusters = BTreeMap::<usize, Vec<usize>>::new();
        for (k, fruitlet) in self.judged() {
            clusters.entry(fruitlet.cluster_idx).or_default().push(k);
        }
        clusters
    }
}

/// The true clusters, numbered in the order of their names.
pub(crate) struct TrueClusters {
    of: Vec<usize>,
    /// Considered members of each cluster; a cluster may have none.
    pub(crate) considered: Vec<Vec<usize>>,
    /// Mean of the spur ends of all members' stems, metres, orchard frame.
    pub(crate) spur: Vec<Vector3<f64>>,
}

impl TrueClusters {
    /// Gathers the clusters of the truth.
    pub(crate) fn of(truth: &Truth, labels: &Labels<'_>) -> Self {
        let mut by_name = BTreeMap::<&str, Vec<usize>>::new();
        for (g, fruit) in truth.fruitlets.iter().enumerate() {
            by_name.entry(&fruit.cluster).or_default().push(g);
        }
        let mut clusters = Self {
            of: vec![0; truth.fruitlets.len()],
            considered: Vec::new(),
            spur: Vec::with_capacity(by_name.len()),
        };
        for (c, members) in by_name.values().enumerate() {
            let mut spur = Vector3::zeros();
            for &g in members {
                clusters.of[g] = c;
                spur += truth.fruitlets[g].spur.xyz / members.len() as f64;
            }
            clusters.spur.push(spur);
            clusters.considered.push(
                members
                    .iter()
                    .copied()
                    .filter(|&g| labels.considered(g))
                    .collect(),
            );
        }
        clusters
    }

    /// Number of the cluster of a true fruitlet.
    pub(crate) fn cluster_of(&self, truth_idx: usize) -> usize {
        self.of.get(truth_idx).copied().unwrap_or(0)
    }

    /// Clusters with at least one considered member, with those members.
    pub(crate) fn judged(&self) -> impl Iterator<Item = (usize, &[usize])> {
        self.considered
            .iter()
            .enumerate()
            .filter(|(_, m)| !m.is_empty())
            .map(|(c, m)| (c, m.as_slice()))
    }
}
