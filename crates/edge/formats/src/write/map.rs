//! `map.json`.

use crate::wire::header::FrameWire;
use crate::wire::map::{MapCluster, MapFile, MapFruitlet, MapStem, MapTree};
use crate::wire::num::{Num, metres3, unit3};
use crate::write::error::WriteError;
use crate::write::names::Names;
use crate::write::publish::{Header, Publication};
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::run::Run;
use nalgebra::SMatrix;

const FILE: &str = "map.json";

impl Publication {
    /// Adds `map.json`.
    ///
    /// # Errors
    /// A position without an entry, a number that is not finite, or the disk.
    pub fn map(&mut self, header: &Header, run: &Run, map: &CropMap) -> Result<(), WriteError> {
        self.json(
            FILE,
            &map_file(
                header,
                &Names {
                    file: FILE,
                    run,
                    map,
                },
            )?,
        )
    }
}

fn map_file(header: &Header, names: &Names<'_>) -> Result<MapFile, WriteError> {
    Ok(MapFile {
        version: crate::read::document::VERSION,
        tool_version: header.tool_version.clone(),
        frame: FrameWire::Orchard,
        inputs: header.inputs.clone(),
        trees: trees(names)?,
        fruitlets: names
            .map
            .fruitlets
            .iter()
            .map(|f| fruitlet(f, names))
            .collect::<Result<_, _>>()?,
    })
}

/// Every tree of the orchard in its order, then clusters without a tree where there are any (or nothing else is).
fn trees(names: &Names<'_>) -> Result<Vec<MapTree>, WriteError> {
    let known = names.run.orchard.as_ref().map_or(0, |o| o.trees.len());
    let mut of_tree: Vec<Vec<MapCluster>> = vec![Vec::new(); known];
    let mut without = Vec::new();
    for one in &names.map.clusters {
        let wire = cluster(one, names)?;
        match one.tree_idx.and_then(|at| of_tree.get_mut(at)) {
            Some(list) => list.push(wire),
            None => without.push(wire),
        }
    }
    let mut trees = Vec::with_capacity(known + 1);
    for (at, clusters) in of_tree.into_iter().enumerate() {
        trees.push(MapTree {
            id: names.tree_id(Some(at))?,
            clusters,
        });
    }
    if known == 0 || !without.is_empty() {
        trees.push(MapTree {
            id: None,
            clusters: without,
        });
    }
    Ok(trees)
}

fn cluster(one: &Cluster, names: &Names<'_>) -> Result<MapCluster, WriteError> {
    Ok(MapCluster {
        id: one.id.clone(),
        limb: names.limb_id(one.tree_idx, one.limb_idx)?,
        spur_m: metres3(&one.spur.xyz),
        spur_deviation_m: Some(Num::metres(one.spur_deviation_m)),
        along_limb_m: one.along_limb_m.map(Num::metres),
        probability: Num::share(one.probability),
    })
}

fn fruitlet(one: &Fruitlet, names: &Names<'_>) -> Result<MapFruitlet, WriteError> {
    let mut detections = Vec::with_capacity(one.detections.len());
    for (at, class) in &one.detections {
        let (frame, index) = names.detection(*at)?;
        detections.push((frame, index, (*class).into()));
    }
    Ok(MapFruitlet {
        id: one.id.clone(),
        class: one.class.into(),
        tree: names.tree_id(one.tree_idx)?,
        tree_probability: Num::share(one.tree_probability),
        cluster: names.cluster(one.cluster_idx)?.id.clone(),
        cluster_probability: Num::share(one.cluster_probability),
        centre_m: metres3(&one.centre.xyz),
        diameter_mm: Num::mm(one.diameter_m),
        covariance_m2: covariance(&one.covariance_m2),
        shared_deviation_m: Num::significant(one.shared_deviation_m),
        axis: one.axis.map(|a| unit3(&a.direction.xyz)),
        axis_deviation_deg: one.axis.map(|a| Num::degrees(a.deviation_rad)),
        stem_top_m: one.stem_top.map(|p| metres3(&p.xyz)),
        spur_m: one.spur.map(|p| metres3(&p.xyz)),
        stem_seen: one.stem.map(|s| MapStem {
            top_m: metres3(&s.top.xyz),
            far_m: metres3(&s.far.xyz),
            far_covariance_m2: covariance(&s.far_covariance_m2),
            views: s.views,
        }),
        king_probability: Num::share(one.king_probability),
        existence: Num::share(one.existence),
        views: one.views,
        detections,
    })
}

/// Rounded alike on both sides of the diagonal.
fn covariance<const N: usize>(matrix: &SMatrix<f64, N, N>) -> [[Num; N]; N] {
    std::array::from_fn(|row| {
        std::array::from_fn(|col| Num::significant(matrix[(row.min(col), row.max(col))]))
    })
}
