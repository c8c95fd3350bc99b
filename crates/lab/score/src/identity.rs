//! Fused fruitlets judged by the labels of their boxes alone, so that no place need be known.
//!
//! A map fruitlet is the true object that most of its labelled body boxes show (of several, the first of the truth). It
//! is nothing where more of them show nothing than show an object, and it cannot be judged where none of them is
//! labelled: then it counts neither as right nor as wrong. A true object is found once, by the map fruitlet with most
//! boxes of it; further ones only repeat it. As everywhere, an object is expected where body boxes of two images show it.

use crate::figure::{Figure, Share};
use crate::input::ScoreInput;
use crate::labels::{Label, Labels};
use crate::partition::{PartitionScores, compare_partitions};
use crate::trees::NO_ORCHARD;
use corymb_model::map::{CropMap, Fruitlet};
use corymb_model::truth::Truth;
use serde::Serialize;
use std::collections::BTreeMap;

/// Map fruitlets by the labels of their boxes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IdentityScores {
    /// Map fruitlets that are an expected object, one an object.
    pub right: usize,
    /// Map fruitlets that are an object which another one is already.
    pub repeated: usize,
    /// Map fruitlets whose boxes mostly show nothing.
    pub false_ones: usize,
    /// Expected objects that no map fruitlet is.
    pub missed: usize,
    /// Map fruitlets that are an object which is not expected: neither right nor wrong.
    pub not_considered: usize,
    /// Map fruitlets without any labelled body box: neither right nor wrong.
    pub not_labelled: usize,
    /// Right among right, repeated and false.
    pub precision: Share,
    /// Right among right and missed.
    pub recall: Share,
    /// Harmonic mean of precision and recall.
    pub f1: Figure,
    /// True clusters whose expected objects are all found, in one map cluster, with nothing else in it that can be judged.
    pub clusters_exact: Share,
    /// Agreement of true and map clusters over the found, expected objects whose cluster is known.
    pub clusters: PartitionScores,
    /// Found, expected objects on the right tree, of those whose tree is known.
    pub tree: Share,
}

/// What the labels make of a map fruitlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Identity {
    /// None of its body boxes is labelled.
    Unlabelled,
    /// Most of them show nothing.
    Nothing,
    /// A true object, and how many of them show it.
    Object(usize, usize),
}

/// The identity of every map fruitlet. O(boxes log boxes).
pub(crate) fn identities(map: &CropMap, labels: &Labels<'_>) -> Vec<Identity> {
    map.fruitlets.iter().map(|f| identity(f, labels)).collect()
}

fn identity(fruitlet: &Fruitlet, labels: &Labels<'_>) -> Identity {
    let mut votes = BTreeMap::<usize, usize>::new();
    let (mut nothing, mut something) = (0, 0);
    for &(at, _) in fruitlet.detections.iter().filter(|d| d.1.is_body()) {
        match labels.label(at) {
            Label::Unlabelled => {}
            Label::Nothing => nothing += 1,
            Label::Shows(g) => {
                something += 1;
                *votes.entry(g).or_default() += 1;
            }
        }
    }
    let most = votes
        .into_iter()
        .max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)));
    match most {
        Some((g, n)) if something >= nothing => Identity::Object(g, n),
        _ if something + nothing > 0 => Identity::Nothing,
        _ => Identity::Unlabelled,
    }
}

/// Scores the map fruitlets that get decisions. O(n log n).
pub(crate) fn by_identity(
    input: &ScoreInput<'_>,
    map: &CropMap,
    labels: &Labels<'_>,
) -> IdentityScores {
    let found = Found::of(input.truth, map, labels, &identities(map, labels));
    let count =
        |wanted: &dyn Fn(&Judgement) -> bool| found.of_map.values().filter(|j| wanted(j)).count();
    let right = count(&|j| matches!(j, Judgement::Right(_)));
    let repeated = count(&|j| matches!(j, Judgement::Repeated));
    let false_ones = count(&|j| matches!(j, Judgement::False));
    let expected = (0..input.truth.objects()).filter(|&g| labels.considered(g));
    let missed = expected.filter(|g| !found.by.contains_key(g)).count();
    let judged = right + repeated + false_ones;
    IdentityScores {
        right,
        repeated,
        false_ones,
        missed,
        not_considered: count(&|j| matches!(j, Judgement::NotConsidered(_))),
        not_labelled: count(&|j| matches!(j, Judgement::NotLabelled)),
        precision: Share::new(right, judged, "no map fruitlet has a labelled box"),
        recall: Share::new(
            right,
            right + missed,
            "no true object is seen in two labelled images",
        ),
        f1: Figure::ratio(
            2.0 * right as f64,
            (judged + right + missed) as f64,
            judged + missed,
            "neither map nor truth has fruit",
        ),
        clusters_exact: found.clusters_exact(labels),
        clusters: found.clusters(),
        tree: found.tree(input),
    }
}

/// What becomes of a map fruitlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Judgement {
    Right(usize),
    Repeated,
    False,
    NotConsidered(usize),
    NotLabelled,
}

/// Who found what.
struct Found<'a> {
    truth: &'a Truth,
    map: &'a CropMap,
    /// The map fruitlet that found each object, expected or not.
    by: BTreeMap<usize, usize>,
    of_map: BTreeMap<usize, Judgement>,
}

impl<'a> Found<'a> {
    fn of(
        truth: &'a Truth,
        map: &'a CropMap,
        labels: &Labels<'_>,
        identities: &[Identity],
    ) -> Self {
        let named = map.fruitlets.iter().zip(identities).enumerate();
        let decided: Vec<(usize, Identity)> = named
            .filter(|(_, (fruitlet, _))| fruitlet.is_decided())
            .map(|(k, (_, identity))| (k, *identity))
            .collect();
        let mut best = BTreeMap::<usize, (usize, usize)>::new();
        for &(k, identity) in &decided {
            if let Identity::Object(g, n) = identity
                && best.get(&g).is_none_or(|&(most, _)| n > most)
            {
                best.insert(g, (n, k));
            }
        }
        let by: BTreeMap<usize, usize> = best.into_iter().map(|(g, (_, k))| (g, k)).collect();
        let judge = |(k, identity): (usize, Identity)| {
            let judgement = match identity {
                Identity::Unlabelled => Judgement::NotLabelled,
                Identity::Nothing => Judgement::False,
                Identity::Object(g, _) if by.get(&g) != Some(&k) => Judgement::Repeated,
                Identity::Object(g, _) if labels.considered(g) => Judgement::Right(g),
                Identity::Object(g, _) => Judgement::NotConsidered(g),
            };
            (k, judgement)
        };
        let of_map = decided.into_iter().map(judge).collect();
        Self {
            truth,
            map,
            by,
            of_map,
        }
    }

    fn map_cluster(&self, map_idx: usize) -> Option<usize> {
        self.map.fruitlets.get(map_idx).map(|f| f.cluster_idx)
    }

    /// Found, expected objects with the map fruitlets that found them.
    fn right(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.of_map
            .iter()
            .filter_map(|(&k, judgement)| match judgement {
                Judgement::Right(g) => Some((*g, k)),
                _ => None,
            })
    }

    fn clusters_exact(&self, labels: &Labels<'_>) -> Share {
        let mut expected = BTreeMap::<&str, Vec<usize>>::new();
        for g in (0..self.truth.objects()).filter(|&g| labels.considered(g)) {
            if let Some(cluster) = self.truth.cluster_of(g) {
                expected.entry(cluster).or_default().push(g);
            }
        }
        let mut in_map = BTreeMap::<usize, Vec<Judgement>>::new();
        for (&k, &judgement) in &self.of_map {
            if let Some(cluster_idx) = self.map_cluster(k) {
                in_map.entry(cluster_idx).or_default().push(judgement);
            }
        }
        let home = |g: &usize| self.map_cluster(*self.by.get(g)?);
        let is_exact = |(&cluster, members): (&&str, &Vec<usize>)| {
            let Some(first) = members.first().and_then(home) else {
                return false;
            };
            let together = members.iter().all(|g| home(g) == Some(first));
            let mut all = in_map.get(&first).into_iter().flatten();
            together && all.all(|j| self.may_be_of(j, cluster))
        };
        Share::of(
            expected.iter().map(is_exact),
            "the cluster of no expected object is known",
        )
    }

    /// Whether nothing speaks against a map fruitlet in the map cluster of a true one.
    fn may_be_of(&self, judgement: &Judgement, cluster: &str) -> bool {
        match judgement {
            Judgement::Right(g) | Judgement::NotConsidered(g) => {
                self.truth.cluster_of(*g).is_none_or(|c| c == cluster)
            }
            Judgement::NotLabelled => true,
            Judgement::Repeated | Judgement::False => false,
        }
    }

    fn clusters(&self) -> PartitionScores {
        let mut numbers = BTreeMap::<&str, usize>::new();
        let thing = |(g, k): (usize, usize)| {
            let next = numbers.len();
            let number = *numbers.entry(self.truth.cluster_of(g)?).or_insert(next);
            Some((number, self.map_cluster(k)?))
        };
        compare_partitions(&self.right().filter_map(thing).collect::<Vec<_>>())
    }

    fn tree(&self, input: &ScoreInput<'_>) -> Share {
        let Some(orchard) = &input.run.orchard else {
            return Share::undefined(NO_ORCHARD);
        };
        let stated = |k: usize| {
            let tree_idx = self.map.fruitlets.get(k)?.tree_idx?;
            orchard.trees.get(tree_idx).map(|t| t.id.as_str())
        };
        let is_right = |(g, k)| Some(stated(k) == Some(self.truth.tree_of(g)?));
        Share::of(
            self.right().filter_map(is_right),
            "the tree of no found object is known",
        )
    }
}
