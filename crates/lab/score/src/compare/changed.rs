//! Which clusters and images changed from one variant to the other.

use crate::compare::{ScoredRun, Variant};
use std::collections::BTreeMap;

/// A true cluster that one of two variants has exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClusterChange {
    /// Name of the run.
    pub run: String,
    /// Name of the cluster.
    pub cluster: String,
    /// Considered fruit.
    pub size: usize,
    /// The other variant has it exactly and the first has not; else the reverse.
    pub gained: bool,
}

/// An image with more or fewer wrong identities.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameChange {
    /// Name of the run.
    pub run: String,
    /// Name of the image.
    pub frame: String,
    /// Misses, false claims and wrong identities of the first variant.
    pub errors_first: usize,
    /// The same of the other.
    pub errors_other: usize,
}

/// What changed, among what both variants have.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Changed {
    /// True clusters in both.
    pub clusters: usize,
    /// In the order of the first variant.
    pub changed_clusters: Vec<ClusterChange>,
    /// Images in both.
    pub frames: usize,
    /// The largest changes first.
    pub changed_frames: Vec<FrameChange>,
}

/// Lists the changes between the runs that both variants have. O(n log n).
#[must_use]
pub fn changed(first: &Variant, other: &Variant) -> Changed {
    let mut all = Changed::default();
    for run in &first.runs {
        if let Some(twin) = other.runs.iter().find(|r| r.run == run.run) {
            clusters(run, twin, &mut all);
            frames(run, twin, &mut all);
        }
    }
    // stable: equal changes stay in the order of runs and images
    all.changed_frames
        .sort_by_key(|f| std::cmp::Reverse(f.errors_first.abs_diff(f.errors_other)));
    all
}

fn clusters(run: &ScoredRun, twin: &ScoredRun, all: &mut Changed) {
    let there: BTreeMap<&str, bool> = twin
        .rows
        .clusters
        .iter()
        .map(|c| (c.cluster.as_str(), c.exact))
        .collect();
    for cluster in &run.rows.clusters {
        let Some(&exact) = there.get(cluster.cluster.as_str()) else {
            continue;
        };
        all.clusters += 1;
        if exact != cluster.exact {
            all.changed_clusters.push(ClusterChange {
                run: run.run.clone(),
                cluster: cluster.cluster.clone(),
                size: cluster.size,
                gained: exact,
            });
        }
    }
}

fn frames(run: &ScoredRun, twin: &ScoredRun, all: &mut Changed) {
    let there: BTreeMap<&str, usize> = twin
        .rows
        .frames
        .iter()
        .map(|f| (f.frame.as_str(), f.errors()))
        .collect();
    for frame in &run.rows.frames {
        let Some(&errors_other) = there.get(frame.frame.as_str()) else {
            continue;
        };
        all.frames += 1;
        if errors_other != frame.errors() {
            all.changed_frames.push(FrameChange {
                run: run.run.clone(),
                frame: frame.frame.clone(),
                errors_first: frame.errors(),
                errors_other,
            });
        }
    }
}
