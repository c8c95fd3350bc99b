//! Rows of trees: leaders, limbs, wires and posts.

use super::polyline::{Segment, segments};
use crate::spec::OrchardSpec;
use crate::streams::{Draw, Purpose, Streams};
use corymb_model::Point;
use corymb_model::orchard::{Limb, LimbKind, Obstacle, ObstacleShape, OrchardModel, Row, Tree};
use nalgebra::Vector3;
use rand_chacha::ChaCha8Rng;

/// Points of a leader.
const LEADER_POINTS: usize = 12;
/// Points of a limb.
const LIMB_POINTS: usize = 7;
/// Radius at the tip of leader and limbs, metres.
const TIP_RADIUS_M: f64 = 0.003;
/// Limbs start below this share of the tree's height.
const HIGHEST_LIMB_SHARE: f64 = 0.9;
/// Trunk diameters are written to this, metres.
const TRUNK_STEP_M: f64 = 1e-4;

/// The orchard as it is.
pub(crate) fn orchard(spec: &OrchardSpec, streams: &Streams) -> OrchardModel {
    let mut model = OrchardModel::default();
    for row_idx in 0..spec.rows as usize {
        let y = row_idx as f64 * spec.row_spacing_m;
        let end = (f64::from(spec.trees_per_row) - 0.5) * spec.tree_spacing_m;
        let start = -0.5 * spec.tree_spacing_m;
        model.rows.push(Row {
            id: format!("r{}", row_idx + 1),
            from: Point::new(start, y, 0.0),
            to: Point::new(end, y, 0.0),
        });
        for k in 0..spec.trees_per_row as usize {
            model.trees.push(tree(spec, streams, row_idx, k));
        }
        trellis(spec, row_idx, [start, end], y, &mut model.obstacles);
    }
    model
}

/// All solid pieces: wood first, tree by tree, then wires and posts.
pub(crate) fn wood(model: &OrchardModel) -> Vec<Segment> {
    let limbs = model.trees.iter().flat_map(|t| &t.limbs).flat_map(segments);
    let others = model.obstacles.iter().filter_map(|o| match o.shape {
        ObstacleShape::Capsule { a, b, radius_m } => Some(Segment {
            a: a.xyz,
            b: b.xyz,
            radius_m,
        }),
        ObstacleShape::Box { .. } => None,
    });
    limbs.chain(others).collect()
}

fn tree(spec: &OrchardSpec, streams: &Streams, row_idx: usize, k: usize) -> Tree {
    let number = row_idx * spec.trees_per_row as usize + k;
    let mut rng = streams.rng(Purpose::Tree, number as u64, 0);
    let id = format!("t{:02}", number + 1);
    let base = Vector3::new(
        k as f64 * spec.tree_spacing_m + rng.normal(spec.tree_scatter_m),
        row_idx as f64 * spec.row_spacing_m + rng.normal(spec.tree_scatter_m),
        0.0,
    );
    let height_m = rng.between(spec.height_m);
    let trunk_m = rng.between(spec.trunk_diameter_mm) * 1e-3;
    let trunk_m = (trunk_m / TRUNK_STEP_M).round() * TRUNK_STEP_M;
    let leader = leader(spec, &mut rng, &id, base, height_m, 0.5 * trunk_m);
    let least = spec.limbs_per_tree[0];
    let more = f64::from(spec.limbs_per_tree[1] - least) + 1.0;
    let count = (f64::from(least) + rng.between([0.0, more]).floor()) as usize;
    let heights_m = limb_heights(spec, &mut rng, count, height_m);
    let side: f64 = if rng.chance(0.5) { 1.0 } else { -1.0 };
    let mut limbs = vec![leader];
    for (j, height_m) in heights_m.into_iter().enumerate() {
        let mut rng = streams.rng(Purpose::Limb, number as u64, j as u64);
        let side = if j % 2 == 0 { side } else { -side };
        let at = at_height(&limbs[0], height_m);
        limbs.push(limb(
            spec,
            &mut rng,
            format!("{id}-limb{:02}", j + 1),
            at,
            side,
        ));
    }
    Tree {
        id,
        row_idx,
        base: Point::from_vector(base),
        trunk_diameter_m: Some(trunk_m),
        limbs,
    }
}

fn leader(
    spec: &OrchardSpec,
    rng: &mut ChaCha8Rng,
    tree: &str,
    base: Vector3<f64>,
    height_m: f64,
    radius_m: f64,
) -> Limb {
    let mut points = vec![base];
    let mut drift = Vector3::zeros();
    for k in 1..LEADER_POINTS {
        drift += Vector3::new(
            rng.normal(spec.limb_wander_m),
            rng.normal(spec.limb_wander_m),
            0.0,
        );
        points
            .push(base + drift + Vector3::z() * (height_m * k as f64 / (LEADER_POINTS - 1) as f64));
    }
    tapered(format!("{tree}-leader"), LimbKind::Leader, points, radius_m)
}

/// Evenly spread over the leader, each moved by up to a third of the step.
fn limb_heights(spec: &OrchardSpec, rng: &mut ChaCha8Rng, count: usize, height_m: f64) -> Vec<f64> {
    let step = (HIGHEST_LIMB_SHARE * height_m - spec.lowest_limb_m).max(0.0) / count.max(1) as f64;
    (0..count)
        .map(|k| {
            spec.lowest_limb_m + step * (k as f64 + rng.between([-0.33, 0.33]).max(-(k as f64)))
        })
        .collect()
}

fn limb(
    spec: &OrchardSpec,
    rng: &mut ChaCha8Rng,
    id: String,
    from: Vector3<f64>,
    side: f64,
) -> Limb {
    let length_m = rng.between(spec.limb_length_m);
    let rise = rng.between(spec.limb_rise_deg).to_radians();
    let out = rng.normal(spec.limb_out_of_row_deg).to_radians();
    let direction = Vector3::new(
        side * out.cos() * rise.cos(),
        out.sin() * rise.cos(),
        rise.sin(),
    );
    let radius_m = 0.5e-3 * rng.between(spec.limb_base_mm);
    let points = (0..LIMB_POINTS).map(|k| {
        let s = length_m * k as f64 / (LIMB_POINTS - 1) as f64;
        let wander = if k == 0 {
            Vector3::zeros()
        } else {
            rng.normal3(spec.limb_wander_m)
        };
        from + direction * s - Vector3::z() * (spec.limb_sag_per_m * s * s) + wander
    });
    let points = points.collect();
    tapered(id, LimbKind::Limb, points, radius_m)
}

fn tapered(id: String, kind: LimbKind, points: Vec<Vector3<f64>>, base_radius_m: f64) -> Limb {
    let last = (points.len() - 1) as f64;
    let tip_m = TIP_RADIUS_M.min(base_radius_m);
    let radii_m = (0..points.len())
        .map(|k| base_radius_m + (tip_m - base_radius_m) * k as f64 / last)
        .collect();
    Limb {
        id,
        kind,
        points: points.into_iter().map(Point::from_vector).collect(),
        radii_m,
    }
}

fn at_height(leader: &Limb, height_m: f64) -> Vector3<f64> {
    let inside = segments(leader).find(|s| height_m <= s.b.z);
    let s = inside.or_else(|| segments(leader).last());
    s.map_or_else(Vector3::zeros, |s| {
        s.a + (s.b - s.a) * ((height_m - s.a.z) / (s.b.z - s.a.z).max(1e-9)).min(1.0)
    })
}

fn trellis(
    spec: &OrchardSpec,
    row_idx: usize,
    ends: [f64; 2],
    y: f64,
    obstacles: &mut Vec<Obstacle>,
) {
    let mut capsule = |id: String, a: Point<_>, b: Point<_>, diameter_mm: f64| {
        let shape = ObstacleShape::Capsule {
            a,
            b,
            radius_m: 0.5e-3 * diameter_mm,
        };
        obstacles.push(Obstacle { id, shape });
    };
    for (k, z) in spec.wires_at_m.iter().enumerate() {
        let (a, b) = (Point::new(ends[0], y, *z), Point::new(ends[1], y, *z));
        capsule(
            format!("r{}-wire{}", row_idx + 1, k + 1),
            a,
            b,
            spec.wire_diameter_mm,
        );
    }
    if spec.post_every_trees == 0 {
        return;
    }
    for (n, k) in (0..=spec.trees_per_row)
        .step_by(spec.post_every_trees as usize)
        .enumerate()
    {
        let x = (f64::from(k) - 0.5) * spec.tree_spacing_m;
        let (a, b) = (Point::new(x, y, 0.0), Point::new(x, y, spec.height_m[1]));
        capsule(
            format!("r{}-post{}", row_idx + 1, n + 1),
            a,
            b,
            spec.post_diameter_mm,
        );
    }
}

/// The limb as the orchard file has it: half of the error's variance is common to the whole limb.
pub(crate) fn limb_as_filed(limb: &Limb, limb_m: f64, rng: &mut ChaCha8Rng) -> Limb {
    let part_m = limb_m * std::f64::consts::FRAC_1_SQRT_2;
    let common = rng.normal3(part_m);
    let points = limb
        .points
        .iter()
        .map(|p| Point::from_vector(p.xyz + common + rng.normal3(part_m)));
    Limb {
        points: points.collect(),
        ..limb.clone()
    }
}
