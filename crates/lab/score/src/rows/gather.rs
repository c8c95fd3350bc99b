//! Every judgement goes to the unit that it belongs to.

use crate::allowance::Allowance;
use crate::carried_out::{self, Carried};
use crate::case::Case;
use crate::clusters;
use crate::neighbours::Neighbours;
use crate::parts;
use crate::rows::identity::{BodyBox, body_boxes};
use crate::rows::tally::Tally;
use crate::rows::{ClusterRow, FrameRow, LEAST_UNITS, Placement, Rows, UnitKind, UnitRow};
use crate::thinned;
use corymb_model::map::Fruitlet;
use corymb_model::run::Class;
use corymb_model::truth::TrueFruitlet;
use std::collections::BTreeMap;

/// A case with what its later stages came to.
pub(crate) struct Judged<'a> {
    pub(crate) case: &'a Case<'a>,
    pub(crate) allowance: Option<&'a Allowance>,
    pub(crate) carried: Option<&'a Carried<'a>>,
}

/// The rows of a case. O(n log n).
pub(crate) fn rows(judged: &Judged<'_>, placement: Placement) -> Rows {
    let case = judged.case;
    let boxes = body_boxes(case);
    let exact = clusters::exactness(case);
    let tallied = |kind| Units::of(case, kind).tallied(judged, &boxes, &exact);
    let trees = tallied(UnitKind::Tree);
    let few = trees.len() < LEAST_UNITS;
    Rows {
        placement,
        cluster_units: if few {
            tallied(UnitKind::Cluster)
        } else {
            Vec::new()
        },
        trees,
        clusters: cluster_rows(case, &exact),
        frames: frame_rows(case, &boxes),
    }
}

/// Which unit things belong to.
struct Units<'a> {
    case: &'a Case<'a>,
    kind: UnitKind,
    near: Neighbours,
    tallies: BTreeMap<&'a str, Tally>,
}

impl<'a> Units<'a> {
    fn of(case: &'a Case<'a>, kind: UnitKind) -> Self {
        let fruit = &case.truth().fruitlets;
        let mut units = Self {
            case,
            kind,
            near: Neighbours::of(fruit.iter().map(|t| &t.centre.xyz)),
            tallies: BTreeMap::new(),
        };
        for object in 0..case.truth().objects() {
            units.tallies.entry(units.of_object(object)).or_default();
        }
        units
    }

    fn of_object(&self, object: usize) -> &'a str {
        let truth = self.case.truth();
        match self.kind {
            UnitKind::Tree => truth.tree_of(object),
            UnitKind::Cluster => truth.cluster_of(object),
        }
        .unwrap_or_default()
    }

    fn of_map_fruit(&self, map_idx: usize) -> &'a str {
        let nearest = || {
            self.near
                .nearest(&self.case.centre(map_idx)?, 1)
                .first()
                .copied()
        };
        let object = self.case.truth_of(map_idx).or_else(nearest);
        object.map_or("", |g| self.of_object(g))
    }

    fn of_true_cluster(&self, cluster: usize) -> &'a str {
        let members = self.case.clusters.considered.get(cluster);
        members
            .and_then(|m| m.first())
            .map_or("", |&g| self.of_object(g))
    }

    fn at(&mut self, unit: &'a str) -> &mut Tally {
        self.tallies.entry(unit).or_default()
    }

    fn tallied(
        mut self,
        judged: &Judged<'_>,
        boxes: &[BodyBox],
        exact: &[(usize, bool)],
    ) -> Vec<UnitRow> {
        self.fruit();
        self.boxes(boxes);
        self.parts();
        self.clusters(exact);
        self.counts();
        self.orders(judged);
        let row = |(unit, tally): (&str, Tally)| UnitRow {
            unit: unit.to_owned(),
            tally,
        };
        self.tallies.into_iter().map(row).collect()
    }

    fn fruit(&mut self) {
        let case = self.case;
        for (k, _) in case.judged() {
            let is_false = case.is_false(k);
            let tally = self.at(self.of_map_fruit(k));
            tally.fruit_in_map += 1;
            tally.fruit_false += usize::from(is_false);
        }
        for &g in case.clusters.considered.iter().flatten() {
            let missed = case.map_of(g).is_none();
            let tally = self.at(self.of_object(g));
            tally.fruit_considered += 1;
            tally.fruit_missed += usize::from(missed);
        }
        let trees_known = case.input.run.orchard.is_some();
        for (k, fruitlet, truth) in case.pairs() {
            let centre = case.centre(k).unwrap_or(fruitlet.centre.xyz);
            let tree_is_right = case.tree_of(fruitlet) == Some(truth.tree.as_str());
            let tally = self.at(self.of_map_fruit(k));
            tally.fruit_right += 1;
            tally.position_error_mm += 1e3 * (centre - truth.centre.xyz).norm();
            tally.with_tree += usize::from(trees_known);
            tally.on_right_tree += usize::from(trees_known && tree_is_right);
            size_and_axis(tally, fruitlet, truth);
        }
    }

    fn boxes(&mut self, boxes: &[BodyBox]) {
        for b in boxes {
            let unit = match (b.shows, b.owner) {
                (Some(g), _) => self.of_object(g),
                (None, Some(k)) => self.of_map_fruit(k),
                (None, None) => continue,
            };
            let tally = self.at(unit);
            tally.boxes_true += usize::from(b.shows.is_some());
            tally.boxes_claimed += usize::from(b.owner.is_some());
            tally.boxes_both += usize::from(b.shows.is_some() && b.owner.is_some());
            tally.boxes_right += usize::from(b.right);
            tally.association += b.association;
        }
    }

    fn parts(&mut self) {
        for part in parts::judged(self.case, Class::Stem) {
            let tally = self.at(self.of_object(part.object));
            tally.stems += 1;
            tally.stems_right += usize::from(part.right);
        }
        for part in parts::judged(self.case, Class::Calyx) {
            let tally = self.at(self.of_object(part.object));
            tally.calyces += 1;
            tally.calyces_right += usize::from(part.right);
        }
    }

    fn clusters(&mut self, exact: &[(usize, bool)]) {
        for &(c, exact) in exact {
            let tally = self.at(self.of_true_cluster(c));
            tally.clusters += 1;
            tally.clusters_exact += usize::from(exact);
        }
        for (c, right) in clusters::kings_right(self.case) {
            let tally = self.at(self.of_true_cluster(c));
            tally.kings += 1;
            tally.kings_right += usize::from(right);
        }
    }

    /// How far the counts of the trees are off, by the trees that the map states.
    fn counts(&mut self) {
        if self.kind != UnitKind::Tree || self.case.input.run.orchard.is_none() {
            return;
        }
        let mut stated = BTreeMap::<&str, usize>::new();
        for (_, fruitlet) in self.case.judged() {
            *stated
                .entry(self.case.tree_of(fruitlet).unwrap_or_default())
                .or_default() += 1;
        }
        for (tree, tally) in &mut self.tallies {
            let (map, truth) = (
                stated.get(tree).copied().unwrap_or(0),
                tally.fruit_considered,
            );
            if truth > 0 && !tree.is_empty() {
                tally.count_error_share = map.abs_diff(truth) as f64 / truth as f64;
                tally.trees_counted = 1;
            }
        }
    }

    fn orders(&mut self, judged: &Judged<'_>) {
        let case = self.case;
        for order in judged.carried.iter().flat_map(|c| c.judged(case)) {
            let tally = self.at(self.of_map_fruit(order.enclosed));
            tally.orders += 1;
            tally.orders_good += usize::from(order.good);
            tally.orders_hurt_kept += usize::from(order.hurt_kept);
        }
        let Some(allowance) = judged.allowance else {
            return;
        };
        let decisions = case.input.decisions;
        for (c, right) in decisions
            .iter()
            .flat_map(|d| thinned::as_allowed(case, d, allowance))
        {
            let tally = self.at(self.of_true_cluster(c));
            tally.clusters_decided += 1;
            tally.decided_as_allowed += usize::from(right);
        }
        let carried = judged.carried;
        for (c, right) in carried
            .iter()
            .flat_map(|done| carried_out::clusters_right(case, allowance, done))
        {
            let tally = self.at(self.of_true_cluster(c));
            tally.clusters_overfull += 1;
            tally.clusters_thinned_right += usize::from(right);
        }
    }
}

fn size_and_axis(tally: &mut Tally, fruitlet: &Fruitlet, truth: &TrueFruitlet) {
    let excess_mm = 1e3 * (fruitlet.diameter_m - truth.diameter_m);
    tally.diameter_excess_mm += excess_mm;
    tally.diameter_error_mm += excess_mm.abs();
    if let Some(axis) = &fruitlet.axis {
        let off_deg = axis.direction.xyz.angle(&truth.axis.xyz).to_degrees();
        tally.axes += 1;
        tally.axis_error_deg += off_deg;
        tally.axes_within_10 += usize::from(off_deg <= 10.0);
        tally.axes_within_20 += usize::from(off_deg <= 20.0);
        tally.axes_within_30 += usize::from(off_deg <= 30.0);
    }
}

fn cluster_rows(case: &Case<'_>, exact: &[(usize, bool)]) -> Vec<ClusterRow> {
    let row = |&(c, exact): &(usize, bool)| {
        let members = case.clusters.considered.get(c)?;
        let first = *members.first()?;
        Some(ClusterRow {
            cluster: case.truth().cluster_of(first)?.to_owned(),
            tree: case.truth().tree_of(first).map(str::to_owned),
            size: members.len(),
            exact,
        })
    };
    exact.iter().filter_map(row).collect()
}

fn frame_rows(case: &Case<'_>, boxes: &[BodyBox]) -> Vec<FrameRow> {
    let mut of_frame = BTreeMap::<usize, FrameRow>::new();
    for (f, frame) in case.input.run.frames.iter().enumerate() {
        if case.labels.is_labelled(f) {
            of_frame.insert(
                f,
                FrameRow {
                    frame: frame.id.clone(),
                    ..FrameRow::default()
                },
            );
        }
    }
    for b in boxes {
        let Some(row) = of_frame.get_mut(&b.frame_idx) else {
            continue;
        };
        row.boxes_true += usize::from(b.shows.is_some());
        row.boxes_claimed += usize::from(b.owner.is_some());
        row.boxes_both += usize::from(b.shows.is_some() && b.owner.is_some());
        row.boxes_right += usize::from(b.right);
    }
    of_frame.into_values().collect()
}
