//! Which units two variants share.

use crate::compare::Variant;
use crate::rows::{LEAST_UNITS, Tally, UnitKind};
use std::collections::BTreeMap;
use std::fmt;

/// Units of two variants, paired.
pub(crate) struct Paired {
    pub(crate) unit: UnitKind,
    /// The tallies of each unit, first and other, in the order of run and name.
    pub(crate) pairs: Vec<(Tally, Tally)>,
    pub(crate) only_first: Vec<UnitName>,
    pub(crate) only_here: Vec<UnitName>,
}

/// A tree or cluster of a run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitName {
    /// Name of the run.
    pub run: String,
    /// Name of the unit.
    pub unit: String,
}

impl fmt::Display for UnitName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.run, self.unit)
    }
}

/// Pairs trees; where there are too few of them, clusters, provided there are enough of those. `None` = no pair at all.
pub(crate) fn pair_units(first: &Variant, other: &Variant) -> Option<Paired> {
    let of = |kind| pair(kind, first, other);
    let trees = of(UnitKind::Tree);
    if trees.pairs.len() >= LEAST_UNITS {
        return Some(trees);
    }
    let clusters = of(UnitKind::Cluster);
    if clusters.pairs.len() >= LEAST_UNITS || trees.pairs.is_empty() {
        return Some(clusters).filter(|c| !c.pairs.is_empty());
    }
    Some(trees)
}

fn pair(unit: UnitKind, first: &Variant, other: &Variant) -> Paired {
    let (mut here, there) = (by_name(unit, first), by_name(unit, other));
    let (mut pairs, mut only_here) = (Vec::new(), Vec::new());
    for (name, two) in there {
        match here.remove(&name) {
            Some(one) => pairs.push((*one, *two)),
            None => only_here.push(named(name)),
        }
    }
    Paired {
        unit,
        pairs,
        only_first: here.into_keys().map(named).collect(),
        only_here,
    }
}

fn by_name(unit: UnitKind, variant: &Variant) -> BTreeMap<(&str, &str), &Tally> {
    let mut named = BTreeMap::new();
    for run in &variant.runs {
        let units = match unit {
            UnitKind::Tree => &run.rows.trees,
            UnitKind::Cluster => &run.rows.cluster_units,
        };
        for row in units {
            named.insert((run.run.as_str(), row.unit.as_str()), &row.tally);
        }
    }
    named
}

fn named((run, unit): (&str, &str)) -> UnitName {
    UnitName {
        run: run.to_owned(),
        unit: unit.to_owned(),
    }
}
