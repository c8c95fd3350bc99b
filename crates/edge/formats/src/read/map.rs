//! `map.json` back into the crop map.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::unknown_name;
use crate::read::checks::{Ids, not_negative, point, positive, share, unit_vector};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::read::known::Known;
use crate::source::locate_needed;
use crate::wire::map::{MapCluster, MapFile, MapFruitlet, MapStem, MapTree};
use crate::wire::num::Num;
use crate::write::Header;
use corymb_model::map::{Cluster, CropMap, Fruitlet};
use corymb_model::run::{BoxRef, Class, Run};
use corymb_model::scene::{Axis, Stem};
use nalgebra::SMatrix;
use std::collections::BTreeMap;
use std::path::Path;

/// Reads `map.json` of an output folder of `run`, with what it says about itself. Clusters are ordered by id; where a
/// file leaves the spur's deviation out, it is 0.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_map(dir: &Path, run: &Run) -> Result<Loaded<(Header, CropMap)>, Problems> {
    let located = locate_needed(dir, "map.json")?;
    read_document(
        &located,
        Grammar::Json,
        &Limits::default(),
        |file: MapFile, out| {
            let header = Header {
                tool_version: file.tool_version.clone(),
                inputs: file.inputs.clone(),
            };
            (header, check_map(&file, run, out))
        },
    )
}

fn check_map(file: &MapFile, run: &Run, out: &mut Findings) -> CropMap {
    let known = Known::of_run(run);
    let mut clusters = check_clusters(&file.trees, &known, out);
    clusters.sort_by(|a, b| a.id.cmp(&b.id));
    let cluster_at: BTreeMap<String, usize> = clusters
        .iter()
        .enumerate()
        .map(|(at, c)| (c.id.clone(), at))
        .collect();
    let mut ids = Ids::of("fruitlet");
    let mut claims = Claims::default();
    let mut fruitlets = Vec::with_capacity(file.fruitlets.len());
    for (at, wire) in file.fruitlets.iter().enumerate() {
        let here = place!["fruitlets", at];
        ids.add(&wire.id, || place![in here; "id"], out);
        let cluster_idx = cluster_at.get(&wire.cluster).copied();
        out.unless(cluster_idx.is_some(), || {
            let names = cluster_at.keys().map(String::as_str);
            unknown_name(
                Code::ClusterUnknown,
                place![in here; "cluster"],
                &wire.cluster,
                names,
                "cluster",
            )
        });
        if let Some(cluster) = cluster_idx.and_then(|c| clusters.get_mut(c)) {
            cluster.members.push(at);
        }
        let detections = claims.check(wire, &known, &here, out);
        fruitlets.push(check_fruitlet(
            wire,
            cluster_idx.unwrap_or(0),
            detections,
            &known,
            &here,
            out,
        ));
    }
    CropMap {
        fruitlets,
        clusters,
    }
}

fn check_clusters(trees: &[MapTree], known: &Known<'_>, out: &mut Findings) -> Vec<Cluster> {
    let mut ids = Ids::of("cluster");
    let mut clusters = Vec::new();
    for (at, tree) in trees.iter().enumerate() {
        let tree_idx = tree
            .id
            .as_ref()
            .and_then(|id| known.tree(id, || place!["trees", at, "id"], out));
        for (n, cluster) in tree.clusters.iter().enumerate() {
            let here = place!["trees", at, "clusters", n];
            ids.add(&cluster.id, || place![in here; "id"], out);
            clusters.push(check_cluster(cluster, tree_idx, known, &here, out));
        }
    }
    clusters
}

fn check_cluster(
    wire: &MapCluster,
    tree_idx: Option<usize>,
    known: &Known<'_>,
    at: &Place,
    out: &mut Findings,
) -> Cluster {
    let limbs = known.tree_at(tree_idx).map_or(&[][..], |tree| &tree.limbs);
    let limb_idx = wire
        .limb
        .as_ref()
        .and_then(|id| limbs.iter().position(|l| l.id == *id));
    if let (Some(id), None) = (&wire.limb, limb_idx) {
        let names = limbs.iter().map(|l| l.id.as_str());
        out.push(unknown_name(
            Code::LimbUnknown,
            place![in at; "limb"],
            id,
            names,
            "limb of this tree",
        ));
    }
    let size =
        |n: Num, name: &str, out: &mut Findings| not_negative(n, || place![in at; name], out);
    Cluster {
        id: wire.id.clone(),
        tree_idx,
        limb_idx,
        along_limb_m: wire.along_limb_m.map(|n| size(n, "along_limb_m", out)),
        spur: point(&wire.spur_m),
        spur_deviation_m: wire
            .spur_deviation_m
            .map_or(0.0, |n| size(n, "spur_deviation_m", out)),
        probability: share(wire.probability, || place![in at; "probability"], out),
        members: Vec::new(),
    }
}

fn check_fruitlet(
    wire: &MapFruitlet,
    cluster_idx: usize,
    detections: Vec<(BoxRef, Class)>,
    known: &Known<'_>,
    at: &Place,
    out: &mut Findings,
) -> Fruitlet {
    let chance = |n: Num, name: &str, out: &mut Findings| share(n, || place![in at; name], out);
    Fruitlet {
        id: wire.id.clone(),
        class: wire.class.into(),
        tree_idx: wire
            .tree
            .as_ref()
            .and_then(|id| known.tree(id, || place![in at; "tree"], out)),
        tree_probability: chance(wire.tree_probability, "tree_probability", out),
        cluster_idx,
        cluster_probability: chance(wire.cluster_probability, "cluster_probability", out),
        centre: point(&wire.centre_m),
        diameter_m: positive(wire.diameter_mm, || place![in at; "diameter_mm"], out) / 1e3,
        covariance_m2: matrix(&wire.covariance_m2),
        shared_deviation_m: not_negative(
            wire.shared_deviation_m,
            || place![in at; "shared_deviation_m"],
            out,
        ),
        axis: check_axis(wire, at, out),
        stem: wire.stem_seen.as_ref().map(stem),
        stem_top: wire.stem_top_m.as_ref().map(point),
        spur: wire.spur_m.as_ref().map(point),
        king_probability: chance(wire.king_probability, "king_probability", out),
        existence: chance(wire.existence, "existence", out),
        views: wire.views,
        detections,
    }
}

fn check_axis(wire: &MapFruitlet, at: &Place, out: &mut Findings) -> Option<Axis> {
    let direction = unit_vector(wire.axis.as_ref()?, || place![in at; "axis"], out)?;
    let Some(deviation) = wire.axis_deviation_deg else {
        let place = place![in at; "axis_deviation_deg"];
        out.push(
            Finding::new(Code::FieldMissing, place, "a number, as there is an axis")
                .found("nothing"),
        );
        return None;
    };
    let deviation = not_negative(deviation, || place![in at; "axis_deviation_deg"], out);
    Some(Axis {
        direction,
        deviation_rad: deviation.to_radians(),
    })
}

fn stem(wire: &MapStem) -> Stem {
    let far_covariance_m2 = matrix(&wire.far_covariance_m2);
    Stem {
        top: point(&wire.top_m),
        far: point(&wire.far_m),
        far_deviation_m: (far_covariance_m2.trace() / 3.0).max(0.0).sqrt(),
        far_covariance_m2,
        views: wire.views,
    }
}

fn matrix<const N: usize>(rows: &[[Num; N]; N]) -> SMatrix<f64, N, N> {
    SMatrix::from_fn(|row, col| rows[row][col].0)
}

/// Which boxes are claimed already, and by whom.
#[derive(Default)]
struct Claims {
    by: BTreeMap<BoxRef, String>,
}

impl Claims {
    fn check(
        &mut self,
        wire: &MapFruitlet,
        known: &Known<'_>,
        at: &Place,
        out: &mut Findings,
    ) -> Vec<(BoxRef, Class)> {
        let mut detections = Vec::with_capacity(wire.detections.len());
        for (n, (frame, index, class)) in wire.detections.iter().enumerate() {
            let here = || place![in at; "detections", n];
            let Some(frame_idx) = known.frame(frame, here, out) else {
                continue;
            };
            let claimed = BoxRef {
                frame_idx: u32::try_from(frame_idx).unwrap_or(u32::MAX), // the reader of frames has a limit below
                detection_idx: *index,
            };
            out.unless(known.run.detection(claimed).is_some(), || {
                let count = known
                    .run
                    .frames
                    .get(frame_idx)
                    .map_or(0, |f| f.detections.len());
                Finding::new(
                    Code::DetectionUnknown,
                    here(),
                    format!("an index below {count}"),
                )
            });
            if let Some(other) = self.by.insert(claimed, wire.id.clone()) {
                out.push(Finding::new(
                    Code::BoxClaimedTwice,
                    here(),
                    format!("a box that {other} does not claim"),
                ));
            }
            detections.push((claimed, (*class).into()));
        }
        detections
    }
}
