//! Which box of an image shows which body: one global assignment an image, in gated components.

use crate::edge_model::EdgeModel;
use crate::nodes::Stand;
use crate::predict::{Innovation, Seen};
use crate::register::{Belief, OCCLUSION_SHIFT, Sights, TWO_PI_3_2, image_solid, pose_row};
use crate::sway::Displaced;
use corymb_geometry::assign::assign;
use nalgebra::{Matrix3x6, Vector3};
use petgraph::unionfind::UnionFind;

/// A possible pair and the log likelihood that it gains over "the box is new or false and the body was missed".
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    /// Position in the list of bodies given.
    pub(crate) body: usize,
    /// Position in `Observations::boxes`.
    pub(crate) box_idx: usize,
    pub(crate) gain: f64,
}

/// Rates that turn distances into likelihoods.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Rates {
    pub(crate) detection: f64,
    /// Boxes an image that no known body explains.
    pub(crate) new_per_image: f64,
}

/// Squared Mahalanobis distance beyond which a pair is not considered (three degrees of freedom).
const GATE: f64 = 25.0;
const WINDOW_SIGMAS: f64 = 4.0;

/// Candidates of one image under Gaussian predictions (used while bodies are still poorly known), each body where it is
/// displaced to.
pub(crate) fn gaussian_candidates(
    sights: &Sights<'_>,
    stand: &Stand,
    frame: usize,
    pose: &Belief,
    bodies: &[Seen],
    displaced: &[Displaced],
    rates: &Rates,
) -> Vec<Candidate> {
    let camera = stand.camera_of[frame];
    let mount = stand.rig_from_camera(camera);
    let rig_r = mount.rotation.to_rotation_matrix().into_inner();
    let per = rates.new_per_image / image_solid(&sights.obs.lenses[camera]);
    let base = (rates.detection / (1.0 - rates.detection)).ln() - per.ln();
    let spread = pose.spread();
    let mut out = Vec::new();
    for (body, (mapped, displaced)) in bodies.iter().zip(displaced).enumerate() {
        let seen = mapped.moved(&displaced.by);
        let model = EdgeModel {
            stir: displaced.left,
            ..*sights.model
        };
        let c_in_rig = rig_r * seen.c + mount.translation.vector;
        let spread = spread.at(c_in_rig.norm());
        sights.grids[frame].near(
            seen.at,
            seen.window(WINDOW_SIGMAS, spread * spread),
            |box_idx| {
                let inn =
                    Innovation::new(&sights.obs.boxes[box_idx], &seen, &model, OCCLUSION_SHIFT);
                if inn.y.z * inn.y.z > GATE * inn.size_variance(&seen) {
                    return;
                }
                let mut j = Matrix3x6::zeros();
                for k in 0..3 {
                    let row: Vector3<f64> = inn.rows.row(k).transpose();
                    j.set_row(k, &pose_row(&row, &rig_r, &c_in_rig).transpose());
                }
                let s = inn.covariance(&seen) + j * pose.cov * j.transpose();
                let Some(chol) = s.cholesky() else { return };
                let d2 = inn.y.dot(&chol.solve(&inn.y));
                let root: f64 = chol.l_dirty().diagonal().product();
                let scale = seen.distance_m * seen.distance_m * seen.radius_m;
                let depth = sights.obs.boxes[box_idx].depth;
                let by_depth = depth.map_or(0.0, |d| d.gain(&seen, spread));
                let gain = base - 0.5 * d2 - (root * TWO_PI_3_2 / scale).ln() + by_depth;
                if gain > 0.0 && d2 < GATE {
                    out.push(Candidate {
                        body,
                        box_idx,
                        gain,
                    });
                }
            },
        );
    }
    out
}

/// The assignment with the greatest total gain. Returns (body, box) pairs, ascending by body.
pub(crate) fn best_assignment(
    candidates: &[Candidate],
    bodies: usize,
    first_box: usize,
    boxes: usize,
) -> Vec<(usize, usize)> {
    let mut sets = UnionFind::<usize>::new(bodies + boxes);
    for c in candidates {
        sets.union(c.body, bodies + c.box_idx - first_box);
    }
    let mut order: Vec<(usize, usize)> = candidates
        .iter()
        .enumerate()
        .map(|(k, c)| (sets.find(c.body), k))
        .collect();
    order.sort_unstable();
    let mut pairs = Vec::new();
    for group in order.chunk_by(|a, b| a.0 == b.0) {
        solve_component(candidates, group, &mut pairs);
    }
    pairs.sort_unstable();
    pairs
}

fn solve_component(
    candidates: &[Candidate],
    group: &[(usize, usize)],
    pairs: &mut Vec<(usize, usize)>,
) {
    if let [(_, only)] = group {
        let c = &candidates[*only];
        pairs.push((c.body, c.box_idx));
        return;
    }
    let mut rows: Vec<usize> = group.iter().map(|g| candidates[g.1].body).collect();
    let mut cols: Vec<usize> = group.iter().map(|g| candidates[g.1].box_idx).collect();
    for list in [&mut rows, &mut cols] {
        list.sort_unstable();
        list.dedup();
    }
    let mut costs = vec![f64::INFINITY; rows.len() * cols.len()];
    for g in group {
        let c = &candidates[g.1];
        if let (Ok(r), Ok(k)) = (rows.binary_search(&c.body), cols.binary_search(&c.box_idx)) {
            costs[r * cols.len() + k] = -c.gain;
        }
    }
    let picked = assign(&costs, rows.len(), cols.len(), &vec![0.0; rows.len()]);
    for (r, col) in picked.iter().enumerate() {
        if let Some(k) = col {
            pairs.push((rows[r], cols[*k]));
        }
    }
}
