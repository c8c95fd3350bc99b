//! `orchard.json`.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::{Ids, not_negative, point, positive, unknown_name};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::source::{Located, at_path};
use crate::wire::orchard::{LimbWire, ObstacleWire, OrchardFile, TreeWire};
use corymb_model::orchard::{Limb, Obstacle, ObstacleShape, OrchardModel, Row, Tree};
use std::path::Path;

/// Reads an orchard file that stands outside a run folder: the limbs and obstacles as they truly are, for scoring.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_true_orchard(path: &Path) -> Result<Loaded<OrchardModel>, Problems> {
    read_orchard(&at_path(path)?, &Limits::default())
}

pub(crate) fn read_orchard(
    located: &Located,
    limits: &Limits,
) -> Result<Loaded<OrchardModel>, Problems> {
    read_document(located, Grammar::Json, limits, check_orchard)
}

fn check_orchard(file: OrchardFile, out: &mut Findings) -> OrchardModel {
    let mut row_ids = Ids::of("row");
    let mut rows = Vec::with_capacity(file.rows.len());
    for (at, row) in file.rows.into_iter().enumerate() {
        row_ids.add(&row.id, || place!["rows", at, "id"], out);
        rows.push(Row {
            id: row.id,
            from: point(&row.from_m),
            to: point(&row.to_m),
        });
    }
    let mut ids = (Ids::of("tree"), Ids::of("limb"));
    let trees = file.trees.into_iter().enumerate();
    let trees = trees
        .map(|(at, tree)| check_tree(tree, &place!["trees", at], &row_ids, &mut ids, out))
        .collect();
    let mut obstacle_ids = Ids::of("obstacle");
    let obstacles = file.obstacles.into_iter().enumerate();
    let obstacles = obstacles
        .map(|(at, o)| check_obstacle(o, &place!["obstacles", at], &mut obstacle_ids, out))
        .collect();
    OrchardModel {
        rows,
        trees,
        obstacles,
    }
}

fn check_tree(
    tree: TreeWire,
    at: &Place,
    rows: &Ids,
    ids: &mut (Ids, Ids),
    out: &mut Findings,
) -> Tree {
    ids.0.add(&tree.id, || place![in at; "id"], out);
    let row_idx = rows.position(&tree.row);
    out.unless(row_idx.is_some(), || {
        unknown_name(
            Code::RowUnknown,
            place![in at; "row"],
            &tree.row,
            rows.names(),
            "row",
        )
    });
    let limbs = tree.limbs.into_iter().enumerate();
    Tree {
        limbs: limbs
            .map(|(n, limb)| check_limb(limb, &place![in at; "limbs", n], &mut ids.1, out))
            .collect(),
        row_idx: row_idx.unwrap_or(0),
        base: point(&tree.base_m),
        trunk_diameter_m: tree
            .trunk_diameter_mm
            .map(|n| positive(n, || place![in at; "trunk_diameter_mm"], out) / 1e3),
        id: tree.id,
    }
}

fn check_limb(limb: LimbWire, at: &Place, ids: &mut Ids, out: &mut Findings) -> Limb {
    ids.add(&limb.id, || place![in at; "id"], out);
    let differs = limb.points_m.windows(2).any(|pair| pair[0] != pair[1]);
    out.unless(differs, || {
        let found = format!("{} points, all the same", limb.points_m.len());
        Finding::new(
            Code::LimbTooShort,
            place![in at; "points_m"],
            "at least two points that differ",
        )
        .found(found)
    });
    let (points, radii) = (limb.points_m.len(), limb.radii_mm.len());
    out.unless(points == radii, || {
        let expected = format!("{points} radii, one a point");
        Finding::new(Code::RadiiCount, place![in at; "radii_mm"], expected)
            .found(format!("{radii} radii"))
    });
    let radii = limb.radii_mm.iter().enumerate();
    Limb {
        id: limb.id,
        kind: limb.kind.into(),
        points: limb.points_m.iter().map(point).collect(),
        radii_m: radii
            .map(|(n, r)| not_negative(*r, || place![in at; "radii_mm", n], out) / 1e3)
            .collect(),
    }
}

fn check_obstacle(
    obstacle: ObstacleWire,
    at: &Place,
    ids: &mut Ids,
    out: &mut Findings,
) -> Obstacle {
    let (id, shape) = match obstacle {
        ObstacleWire::Capsule {
            id,
            a_m,
            b_m,
            radius_mm,
        } => {
            let radius_m = positive(radius_mm, || place![in at; "radius_mm"], out) / 1e3;
            (
                id,
                ObstacleShape::Capsule {
                    a: point(&a_m),
                    b: point(&b_m),
                    radius_m,
                },
            )
        }
        ObstacleWire::Box {
            id,
            orchard_from_box,
            size_m,
        } => {
            let orchard_from_box =
                orchard_from_box.check(|| place![in at; "orchard_from_box"], out);
            let mut axis = 0;
            let size_m = size_m.map(|n| {
                axis += 1;
                positive(n, || place![in at; "size_m", axis - 1], out)
            });
            (
                id,
                ObstacleShape::Box {
                    orchard_from_box,
                    size_m,
                },
            )
        }
    };
    ids.add(&id, || place![in at; "id"], out);
    Obstacle { id, shape }
}
