//! What a perfect detector would box: every body, stem and calyx end in view, without noise and without look-alikes.

use super::boxes::round_to;
use crate::grow::Crop;
use crate::look::{Part, Sighting};
use corymb_model::run::Class;
use corymb_model::truth::TrueBox;

/// Less than this share of a thing in view is nothing that anybody would label.
const LEAST_SHARE: f64 = 0.02;
/// True boxes are written to this, pixels.
const BOX_STEP_PX: f64 = 0.01;
/// Visible shares are written to this: about one of the rays that they are counted from.
const SHARE_STEP: f64 = 1e-3;

/// The true boxes of an image, bodies in order, body before stem before calyx end; cut at the border.
pub(super) fn boxes(crop: &Crop, sightings: &[Sighting]) -> Vec<TrueBox> {
    let real = sightings
        .iter()
        .filter(|s| !s.phantom && s.visible_share >= LEAST_SHARE);
    real.filter_map(|s| true_box(crop, s)).collect()
}

/// `None` where rounding leaves no area.
fn true_box(crop: &Crop, sighting: &Sighting) -> Option<TrueBox> {
    let class = match sighting.part {
        Part::Body => crop.bodies.get(sighting.body_idx)?.class,
        Part::Stem => Class::Stem,
        Part::Calyx => Class::Calyx,
    };
    let box_px = sighting.box_px.map(|edge| round_to(edge, BOX_STEP_PX));
    let [x0, y0, x1, y1] = box_px;
    (x0 < x1 && y0 < y1).then(|| TrueBox {
        class,
        object: Some(sighting.body_idx),
        box_px,
        visible_share: Some(round_to(sighting.visible_share, SHARE_STEP)),
    })
}
