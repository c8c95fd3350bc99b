//! Each true cluster and the map clusters that its fruit went to.

use crate::case::Case;
use serde::Serialize;
use std::collections::BTreeMap;

/// A true cluster with considered fruit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClusterDetail {
    /// Id.
    pub cluster: String,
    /// Its considered fruit.
    pub fruit: usize,
    /// How many of them are in the map.
    pub found: usize,
    /// Map clusters that hold any of them.
    pub map_clusters: usize,
    /// Id of the map cluster that holds most of them (of several the first of the map); `None` where none is found.
    pub map_cluster: Option<String>,
    /// How many of them it holds.
    pub held: usize,
    /// How many fruitlets it has in all; 0 where none is found.
    pub map_fruit: usize,
}

/// Every true cluster with considered fruit, by name.
pub(crate) fn clusters(case: &Case<'_>) -> Vec<ClusterDetail> {
    let sizes = case.map_clusters();
    case.clusters
        .judged()
        .filter_map(|(_, members)| {
            let name = &case.truth().fruitlets.get(*members.first()?)?.cluster;
            let mut held = BTreeMap::<usize, usize>::new();
            for home in members.iter().filter_map(|&g| case.map_of(g)) {
                *held
                    .entry(case.map.fruitlets.get(home)?.cluster_idx)
                    .or_default() += 1;
            }
            let most = held.iter().max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)));
            Some(ClusterDetail {
                cluster: name.clone(),
                fruit: members.len(),
                found: held.values().sum(),
                map_clusters: held.len(),
                map_cluster: most
                    .and_then(|(&c, _)| case.map.clusters.get(c))
                    .map(|c| c.id.clone()),
                held: most.map_or(0, |(_, &n)| n),
                map_fruit: most.and_then(|(c, _)| sizes.get(c)).map_or(0, Vec::len),
            })
        })
        .collect()
}
