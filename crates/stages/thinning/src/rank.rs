//! The order of ids, so that no result depends on the order of the input.

use corymb_model::map::CropMap;

/// Ranks of fruitlets and clusters by id.
#[derive(Debug)]
pub(crate) struct Ranks {
    /// Rank of each fruitlet among all, 0 for the smallest id.
    pub(crate) fruitlet: Vec<usize>,
    /// Rank of each cluster among all.
    pub(crate) cluster: Vec<usize>,
}

impl Ranks {
    /// Ranks of a map's fruitlets and clusters. O(n log n).
    pub(crate) fn of(map: &CropMap) -> Self {
        Self {
            fruitlet: ranks(map.fruitlets.iter().map(|f| f.id.as_str())),
            cluster: ranks(map.clusters.iter().map(|c| c.id.as_str())),
        }
    }
}

fn ranks<'a>(ids: impl Iterator<Item = &'a str>) -> Vec<usize> {
    let ids: Vec<&str> = ids.collect();
    let mut order: Vec<usize> = (0..ids.len()).collect();
    order.sort_by_key(|&i| (ids[i], i));
    let mut rank = vec![0; ids.len()];
    for (place, &i) in order.iter().enumerate() {
        rank[i] = place;
    }
    rank
}
