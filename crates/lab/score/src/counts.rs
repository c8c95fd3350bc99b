//! How many fruit: on each tree, in each row, in the block.
//!
//! A hand count holds where there is one; a row or block whose trees or rows are all counted has their sum. Otherwise
//! the objects of the truth are counted, seen or not, unless only a part of the images is labelled and the places of the
//! fruit are not known either: then they are no count. The map's count is set beside it, alone and with the estimate of
//! fruit that nobody saw.

use crate::figure::Figure;
use crate::input::ScoreInput;
use crate::labels::Labels;
use crate::scores::Part;
use corymb_model::map::CropMap;
use corymb_model::orchard::OrchardModel;
use corymb_model::truth::{Counted, Truth};
use serde::Serialize;
use std::collections::BTreeMap;

/// Counts against truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CountScores {
    /// Trees, then rows, in the order of the orchard's file, then the block; those without a true count are left out.
    pub places: Vec<PlaceCount>,
    /// Errors over the trees.
    pub trees: CountErrors,
    /// The same with the estimate of fruit never seen; undefined where the decisions state none.
    pub trees_with_unseen: CountErrors,
    /// Hand counts of trees and rows that the run's orchard does not know.
    pub hand_counts_not_compared: usize,
}

/// What kind of place was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PlaceKind {
    /// A tree.
    Tree,
    /// A row.
    Row,
    /// All trees, and fruit of no tree.
    Block,
}

/// Where a true count comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CountedBy {
    /// Counted by hand.
    Hand,
    /// The sum of hand counts of all its trees or rows.
    SumOfHand,
    /// Objects that the truth lists there.
    Objects,
}

/// Fruit at a place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlaceCount {
    /// Id of the tree or row; `null` for the block.
    pub id: Option<String>,
    /// Kind of place.
    pub place: PlaceKind,
    /// True count.
    pub truth: usize,
    /// Where that comes from.
    pub counted_by: CountedBy,
    /// Map fruitlets that get decisions.
    pub map: usize,
    /// Map minus truth.
    pub error: f64,
    /// Map and the estimate of those never seen; `null` where the decisions state none.
    pub map_and_unseen: Option<f64>,
    /// That minus truth.
    pub error_with_unseen: Option<f64>,
}

/// How far counts are off.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CountErrors {
    /// Mean of |error| / truth, over the trees with fruit (the mean absolute percentage error, as a share).
    pub absolute_error_share: Figure,
    /// Mean of |error|, fruit.
    pub absolute_error_fruit: Figure,
    /// Mean of the error, fruit.
    pub bias_fruit: Figure,
    /// Sum of the errors over the sum of the true counts.
    pub bias_of_all_share: Figure,
}

const NO_COUNT: &str =
    "the truth has no hand count that can be compared, and too little else to count fruit by";

/// Scores the counts of a map. O(fruit + trees).
pub(crate) fn counts(
    input: &ScoreInput<'_>,
    map: &CropMap,
    labels: &Labels<'_>,
) -> Part<CountScores> {
    let truth = True::of(input, labels);
    let stated = Stated::of(input, map);
    let mut places = Vec::new();
    for (t, tree) in input.run.orchard.iter().flat_map(|o| &o.trees).enumerate() {
        let here = |tree_idx| tree_idx == Some(t);
        places.extend(
            truth
                .tree(&tree.id)
                .map(|count| stated.place(Some(&tree.id), PlaceKind::Tree, count, here)),
        );
    }
    for (r, row) in input.run.orchard.iter().flat_map(|o| &o.rows).enumerate() {
        let here = |tree_idx| stated.row_of(tree_idx) == Some(r);
        places.extend(
            truth
                .row(r)
                .map(|count| stated.place(Some(&row.id), PlaceKind::Row, count, here)),
        );
    }
    places.extend(
        truth
            .block()
            .map(|count| stated.place(None, PlaceKind::Block, count, |_| true)),
    );
    if places.is_empty() {
        return Part::absent(NO_COUNT);
    }
    let trees = || places.iter().filter(|p| p.place == PlaceKind::Tree);
    let alone = trees().map(|p| (p.truth, p.error)).collect::<Vec<_>>();
    let unseen = trees().filter_map(|p| Some((p.truth, p.error_with_unseen?)));
    let unseen = unseen.collect::<Vec<_>>();
    let no_unseen = match alone.is_empty() {
        true => NO_TREE,
        false => "no decisions state an estimate of fruit never seen",
    };
    Part::scored(CountScores {
        trees: CountErrors::of(&alone, NO_TREE),
        trees_with_unseen: CountErrors::of(&unseen, no_unseen),
        hand_counts_not_compared: truth.not_compared(),
        places,
    })
}

const NO_TREE: &str = "no tree of the run has a true count";

impl CountErrors {
    /// From pairs of true count and error.
    fn of(trees: &[(usize, f64)], if_none: &str) -> Self {
        let n = trees.len();
        let sum = |of: &dyn Fn(&(usize, f64)) -> f64| trees.iter().map(of).sum::<f64>();
        let fruit: usize = trees.iter().map(|t| t.0).sum();
        let bearing: Vec<f64> = trees
            .iter()
            .filter(|t| t.0 > 0)
            .map(|t| t.1.abs() / t.0 as f64)
            .collect();
        let none = if n > 0 { "no tree has fruit" } else { if_none };
        Self {
            absolute_error_share: Figure::ratio(
                bearing.iter().sum(),
                bearing.len() as f64,
                bearing.len(),
                none,
            ),
            absolute_error_fruit: Figure::ratio(sum(&|t| t.1.abs()), n as f64, n, if_none),
            bias_fruit: Figure::ratio(sum(&|t| t.1), n as f64, n, if_none),
            bias_of_all_share: Figure::ratio(sum(&|t| t.1), fruit as f64, n, none),
        }
    }
}

type Count = (usize, CountedBy);

/// True counts of places.
struct True<'a> {
    truth: &'a Truth,
    orchard: Option<&'a OrchardModel>,
    by_hand: BTreeMap<&'a Counted, usize>,
    /// Whether the objects of the truth are all there is.
    objects_are_all: bool,
    /// Objects on each tree; `None` where they are not all there is, or the tree of one is not known.
    on_trees: Option<BTreeMap<&'a str, usize>>,
}

impl<'a> True<'a> {
    fn of(input: &ScoreInput<'a>, labels: &Labels<'_>) -> Self {
        let truth = input.truth;
        let whole = !truth.fruitlets.is_empty()
            || (labels.no_identities.is_none()
                && labels.frames_without_labels == 0
                && truth.left_out.values().all(Vec::is_empty));
        let on_trees = || {
            let mut on_trees = BTreeMap::new();
            for g in 0..truth.objects() {
                *on_trees.entry(truth.tree_of(g)?).or_default() += 1;
            }
            Some(on_trees)
        };
        Self {
            truth,
            orchard: input.run.orchard.as_ref(),
            by_hand: truth.counts.iter().map(|c| (&c.on, c.fruitlets)).collect(),
            objects_are_all: whole,
            on_trees: whole.then(on_trees).flatten(),
        }
    }

    fn hand(&self, on: &Counted) -> Option<Count> {
        Some((*self.by_hand.get(on)?, CountedBy::Hand))
    }

    fn tree(&self, id: &str) -> Option<Count> {
        let objects = || {
            let on_trees = self.on_trees.as_ref()?;
            Some((on_trees.get(id).copied().unwrap_or(0), CountedBy::Objects))
        };
        self.hand(&Counted::Tree(id.to_owned())).or_else(objects)
    }

    fn row(&self, row_idx: usize) -> Option<Count> {
        let orchard = self.orchard?;
        let id = orchard.rows.get(row_idx)?.id.clone();
        let trees = || {
            let trees = orchard.trees.iter().filter(|t| t.row_idx == row_idx);
            trees.map(|t| t.id.as_str())
        };
        let by_hand = trees().map(|t| self.hand(&Counted::Tree(t.to_owned())));
        let objects = || {
            let on_trees = self.on_trees.as_ref()?;
            let sum = trees().filter_map(|t| on_trees.get(t)).sum();
            Some((sum, CountedBy::Objects))
        };
        (self.hand(&Counted::Row(id)))
            .or_else(|| sum_of_hand(by_hand))
            .or_else(objects)
    }

    fn block(&self) -> Option<Count> {
        let rows = self.orchard.map_or(0, |o| o.rows.len());
        let by_hand = (0..rows).map(|r| self.row(r).filter(|c| c.1 != CountedBy::Objects));
        let all = self.objects_are_all;
        let objects = || all.then(|| (self.truth.objects(), CountedBy::Objects));
        self.hand(&Counted::Block)
            .or_else(|| sum_of_hand(by_hand))
            .or_else(objects)
    }

    fn not_compared(&self) -> usize {
        let known = |on: &Counted| match (on, self.orchard) {
            (Counted::Block, _) => true,
            (Counted::Tree(id), Some(orchard)) => orchard.trees.iter().any(|t| t.id == *id),
            (Counted::Row(id), Some(orchard)) => orchard.rows.iter().any(|r| r.id == *id),
            (_, None) => false,
        };
        self.by_hand.keys().filter(|on| !known(on)).count()
    }
}

/// The sum, where there is at least one part and all are counted.
fn sum_of_hand(parts: impl Iterator<Item = Option<Count>>) -> Option<Count> {
    let counts = parts.collect::<Option<Vec<Count>>>()?;
    let sum = counts.iter().map(|c| c.0).sum();
    (!counts.is_empty()).then_some((sum, CountedBy::SumOfHand))
}

/// What the output states.
struct Stated<'a> {
    input: &'a ScoreInput<'a>,
    map: &'a CropMap,
}

impl<'a> Stated<'a> {
    fn of(input: &'a ScoreInput<'a>, map: &'a CropMap) -> Self {
        Self { input, map }
    }

    fn row_of(&self, tree_idx: Option<usize>) -> Option<usize> {
        let trees = &self.input.run.orchard.as_ref()?.trees;
        trees.get(tree_idx?).map(|t| t.row_idx)
    }

    fn place(
        &self,
        id: Option<&str>,
        place: PlaceKind,
        (truth, counted_by): Count,
        is_here: impl Fn(Option<usize>) -> bool,
    ) -> PlaceCount {
        let decided = self.map.fruitlets.iter().filter(|f| f.is_decided());
        let map = decided.filter(|f| is_here(f.tree_idx)).count();
        let loads = self.input.decisions.iter().flat_map(|d| &d.trees);
        let unseen: Vec<f64> = loads
            .filter(|l| is_here(l.tree_idx))
            .map(|l| l.unseen)
            .collect();
        let map_and_unseen = (!unseen.is_empty()).then(|| map as f64 + unseen.iter().sum::<f64>());
        PlaceCount {
            id: id.map(str::to_owned),
            place,
            truth,
            counted_by,
            map,
            error: map as f64 - truth as f64,
            map_and_unseen,
            error_with_unseen: map_and_unseen.map(|m| m - truth as f64),
        }
    }
}
