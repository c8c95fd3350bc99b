//! Which calyx box belongs to which body.
//!
//! A calyx end lies within the outline of its fruit, on the side that faces the camera, and every image must show it
//! at the same place of the fruit. First each box is weighed against the image axes of all views; then, with the axes
//! that this gives, against where the calyx end should appear.

use super::PartsConfig;
use super::direction::{AxisEvidence, AxisNoise, SHAPE};
use super::matching::{Candidate, best_pairs};
use super::sights::{PartBox, Sight, Sights};
use corymb_model::scene::Body;
use nalgebra::Vector3;

/// What a calyx box in the middle of its evidence is worth over a chance box, nats.
const WORTH: f64 = 6.0;

/// The calyx box of each sight (a position in `Image::calyces`), where it has one.
pub(super) type CalyxOf = Vec<Option<usize>>;

/// The evidence of every body, with the calyx boxes of `given`.
pub(super) fn evidence(
    sights: &Sights,
    bodies: &[Body],
    given: &CalyxOf,
    config: &PartsConfig,
) -> Vec<AxisEvidence> {
    let of_body = |body_idx: usize| {
        let mut out = AxisEvidence::default();
        for i in sights.of_body(body_idx) {
            let sight = &sights.all[i];
            let image = sights.image(sight);
            out.add_image_axis(sight, image);
            if let Some(seen) = given[i] {
                out.add_pole(
                    sight,
                    image,
                    image.calyces[seen].centre(),
                    bodies[body_idx].radius_m,
                    config,
                );
            }
        }
        out
    };
    (0..bodies.len()).map(of_body).collect()
}

/// Gives every calyx box to at most one body, by what each body's image axes (and the calyx boxes given so far) say.
pub(super) fn give(
    sights: &Sights,
    bodies: &[Body],
    evidence: &[AxisEvidence],
    least: &[f64],
    noise: AxisNoise,
    config: &PartsConfig,
) -> CalyxOf {
    let mut out = vec![None; sights.all.len()];
    for image in &sights.images {
        let mut candidates = Vec::new();
        for (row, &i) in image.sights.iter().enumerate() {
            let sight = &sights.all[i];
            let body = &bodies[sight.body_idx];
            for &column in &sight.calyces {
                let (axis, outside) =
                    lift(sights, sight, &image.calyces[column], body.radius_m, config);
                let loss =
                    evidence[sight.body_idx].loss(&axis, noise) - least[sight.body_idx] + outside;
                candidates.push(Candidate {
                    row,
                    column,
                    gain: WORTH - loss,
                });
            }
        }
        for pair in best_pairs(&candidates, image.sights.len(), image.calyces.len()) {
            out[image.sights[pair.row]] = Some(pair.column);
        }
    }
    out
}

/// The axis that a calyx box tells on its own: from the centre to where the box's line of sight enters the fruit (the
/// calyx end faces the camera); and a loss for a line of sight that passes it by.
fn lift(
    sights: &Sights,
    sight: &Sight,
    seen: &PartBox,
    radius_m: f64,
    config: &PartsConfig,
) -> (Vector3<f64>, f64) {
    let image = sights.image(sight);
    let (p, reach) = (&sight.p_in_camera, radius_m * config.length_over_diameter);
    let at = seen.centre() - sight.shift;
    let along = Vector3::new(at.x, at.y, 1.0).normalize();
    let foot = along * along.dot(p) - p;
    let beyond = (foot.norm() - reach).max(0.0);
    let sigma = p.z * (0.5 * image.edge.powi(2) + sight.local.powi(2)).sqrt() + SHAPE * reach;
    let depth = (reach * reach - foot.norm_squared()).max(0.0).sqrt();
    let axis = image.turn.transpose() * (foot - along * depth);
    (
        axis.try_normalize(1e-12).unwrap_or_else(Vector3::z),
        0.5 * (beyond / sigma).powi(2),
    )
}
