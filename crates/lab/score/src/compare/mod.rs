//! Scored variants side by side: what differs, by how much, and which clusters and images changed.
//!
//! Variants are paired unit by unit (trees; clusters where there are few trees), because most of what makes a tree hard
//! is the same for all of them. The first variant is the baseline of all differences.

mod changed;
mod figures;
mod files;
mod paired;
mod permutation;
mod text;

pub use changed::{Changed, ClusterChange, FrameChange, changed};
pub use figures::{Difference, differences};
pub use files::{changed_csv, figures_csv, figures_tex};
pub use paired::UnitName;
pub use permutation::{Exchange, MAX_EXACT_UNITS, RANDOM_FLIPS, UnitPair, exchange_test};
pub use text::text;

use crate::rows::{Placement, Rows, UnitKind};
use paired::{Paired, pair_units};
use thiserror::Error;

/// One or more scored runs of one way to do the job.
#[derive(Debug, Clone, PartialEq)]
pub struct Variant {
    /// What it is called.
    pub name: String,
    /// Its runs; names are unique among them.
    pub runs: Vec<ScoredRun>,
}

/// A scored run.
#[derive(Debug, Clone, PartialEq)]
pub struct ScoredRun {
    /// Name of the run.
    pub run: String,
    /// Its score, unit by unit.
    pub rows: Rows,
}

/// Why variants cannot be compared.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CompareError {
    /// Fewer than two variants.
    #[error("{0} variants are given; two are needed")]
    TooFew(usize),
    /// No tree and no cluster is in both.
    #[error(
        "{first} and {other} have no tree and no cluster in common, so there is nothing to compare; units are paired by \
         the name of their run and their own name"
    )]
    NothingInCommon {
        /// The baseline.
        first: String,
        /// The other variant.
        other: String,
    },
    /// The common shift was taken away on one side only.
    #[error(
        "run {run}: {first} was scored with places as {one}, {other} with places as {two}; give a truth that labels \
         enough boxes to tell the shift of both, or of neither"
    )]
    PlacementDiffers {
        /// Which run.
        run: String,
        /// The baseline.
        first: String,
        /// The other variant.
        other: String,
        /// How the baseline was scored.
        one: &'static str,
        /// How the other was scored.
        two: &'static str,
    },
}

/// Variants against the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Name of the first.
    pub first: String,
    /// The others in the order given.
    pub others: Vec<Against>,
}

/// A variant against the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Against {
    /// Its name.
    pub name: String,
    /// How the maps lie; `None` where runs differ in that.
    pub placement: Option<Placement>,
    /// What is paired.
    pub unit: UnitKind,
    /// Units in both.
    pub units: usize,
    /// Units that the first alone has.
    pub only_first: Vec<UnitName>,
    /// Units that this one alone has.
    pub only_here: Vec<UnitName>,
    /// Figure by figure, over the units in both.
    pub figures: Vec<Difference>,
    /// True clusters in both.
    pub clusters: usize,
    /// True clusters that one of the two has exactly and the other has not.
    pub changed_clusters: Vec<ClusterChange>,
    /// Images in both.
    pub frames: usize,
    /// Images whose boxes are more or less often given the right identity, the largest changes first.
    pub changed_frames: Vec<FrameChange>,
}

/// Compares variants with the first. O(figures x (resamples + flips) x units).
///
/// # Errors
/// Fewer than two variants, no unit in common, or places judged in different ways.
pub fn compare(variants: &[Variant]) -> Result<Comparison, CompareError> {
    let Some((first, others)) = variants.split_first().filter(|(_, o)| !o.is_empty()) else {
        return Err(CompareError::TooFew(variants.len()));
    };
    let others: Result<Vec<Against>, CompareError> =
        others.iter().map(|other| against(first, other)).collect();
    Ok(Comparison {
        first: first.name.clone(),
        others: others?,
    })
}

fn against(first: &Variant, other: &Variant) -> Result<Against, CompareError> {
    let placement = placement(first, other)?;
    let Paired {
        unit,
        pairs,
        only_first,
        only_here,
    } = pair_units(first, other).ok_or_else(|| CompareError::NothingInCommon {
        first: first.name.clone(),
        other: other.name.clone(),
    })?;
    let changed = changed(first, other);
    Ok(Against {
        name: other.name.clone(),
        placement,
        unit,
        units: pairs.len(),
        only_first,
        only_here,
        figures: differences(unit, &pairs),
        clusters: changed.clusters,
        changed_clusters: changed.changed_clusters,
        frames: changed.frames,
        changed_frames: changed.changed_frames,
    })
}

/// How the maps of the runs in both lie; an error where the two sides differ.
fn placement(first: &Variant, other: &Variant) -> Result<Option<Placement>, CompareError> {
    let mut found: Option<Placement> = None;
    let mut mixed = false;
    for run in &first.runs {
        let Some(twin) = other.runs.iter().find(|r| r.run == run.run) else {
            continue;
        };
        let (one, two) = (run.rows.placement, twin.rows.placement);
        if one != two {
            return Err(CompareError::PlacementDiffers {
                run: run.run.clone(),
                first: first.name.clone(),
                other: other.name.clone(),
                one: one.words(),
                two: two.words(),
            });
        }
        mixed |= found.is_some_and(|p| p != one);
        found = Some(one);
    }
    Ok(found.filter(|_| !mixed))
}
