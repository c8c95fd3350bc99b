//! Clusters by density.
//!
//! Source: M. Ester, H.-P. Kriegel, J. Sander, X. Xu, "A density-based algorithm for discovering clusters in large
//! spatial databases with noise", KDD 1996; what is noise there is a cluster of one here, since every fruit has a spur.

use super::{Found, PlainConfig};

/// Number of the group of each fruit. O(n^2).
pub(super) fn groups(found: &[Found], config: &PlainConfig) -> Vec<usize> {
    let near = |k: usize| {
        let within = |&j: &usize| (found[j].centre - found[k].centre).norm() <= config.neighbour_m;
        (0..found.len()).filter(within).collect::<Vec<usize>>()
    };
    let neighbours: Vec<Vec<usize>> = (0..found.len()).map(near).collect();
    let is_core = |k: usize| neighbours[k].len() >= config.least_neighbours;
    let mut group: Vec<Option<usize>> = vec![None; found.len()];
    let mut count = 0;
    for k in 0..found.len() {
        if group[k].is_some() || !is_core(k) {
            continue;
        }
        let mut open = vec![k];
        group[k] = Some(count);
        while let Some(core) = open.pop() {
            for &j in &neighbours[core] {
                if group[j].is_none() {
                    group[j] = Some(count);
                    if is_core(j) {
                        open.push(j);
                    }
                }
            }
        }
        count += 1;
    }
    let alone = |g: Option<usize>| {
        g.unwrap_or_else(|| {
            count += 1;
            count - 1
        })
    };
    group.into_iter().map(alone).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{Matrix4, Vector3};

    fn groups_of(x_mm: &[f64]) -> Vec<usize> {
        let fruit = |x: &f64| Found {
            boxes: Vec::new(),
            centre: Vector3::new(x / 1e3, 0.0, 0.0),
            radius_m: 0.007,
            covariance_m2: Matrix4::identity(),
        };
        let config = PlainConfig {
            neighbour_m: 0.01,
            least_neighbours: 3,
            ..PlainConfig::default()
        };
        groups(&x_mm.iter().map(fruit).collect::<Vec<_>>(), &config)
    }

    #[test]
    fn cores_chain_borders_join_and_the_rest_is_alone() {
        // cores at 9 and 18 (three within 10 mm), borders at 0 and 27, noise at 60
        assert_eq!(groups_of(&[0.0, 9.0, 18.0, 27.0, 60.0]), [0, 0, 0, 0, 1]);
        // two fruit are no core, so each is alone
        assert_eq!(groups_of(&[0.0, 9.0, 50.0]), [0, 1, 2]);
    }
}
