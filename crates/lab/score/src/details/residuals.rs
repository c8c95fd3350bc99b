//! Each body box of a matched map fruitlet against the box that the fruitlet's sphere would fill.

use super::edges::{EdgeSpread, RadiusBin, by_edge, by_radius};
use super::views::cameras;
use crate::case::Case;
use corymb_geometry::{Lens, Side, clip_box, sphere_box};
use corymb_model::frames::{CameraFrame, Orchard, Pose};
use corymb_model::map::Fruitlet;
use corymb_model::run::{BoxRef, Run};
use corymb_model::scene::Calibration;
use serde::Serialize;

/// An edge this close to the border of the image is cut off there and says nothing, pixels.
const BORDER_PX: f64 = 1.0;

/// Boxes against the spheres of the map.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ResidualDetails {
    /// Whether the cameras stand as the output's calibration says; else as the run states.
    pub corrected_poses: bool,
    /// What was said about the noise of a box edge.
    pub box_edge: StatedEdge,
    /// Left, top, right and bottom edge of all boxes.
    pub edges: [EdgeSpread; 4],
    /// All edges by the distance of their box from the principal point.
    pub by_radius: Vec<RadiusBin>,
    /// In the order of the map, then of the run.
    pub boxes: Vec<BoxResidual>,
    /// Body boxes of matched fruitlets without a prediction: no pose, or the sphere is not before the camera.
    pub not_predicted: usize,
}

/// What was said about the noise of a box edge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum StatedEdge {
    /// The standard deviation that the output's calibration states, pixels.
    Calibration(f64),
    /// The standard deviation that the run states, pixels.
    Run(f64),
    /// Nothing.
    Unstated,
}

impl StatedEdge {
    /// The standard deviation, pixels.
    #[must_use]
    pub fn deviation_px(self) -> Option<f64> {
        match self {
            StatedEdge::Calibration(px) | StatedEdge::Run(px) => Some(px),
            StatedEdge::Unstated => None,
        }
    }

    fn of(run: &Run, calibration: Option<&Calibration>) -> Self {
        match calibration.and_then(|c| c.box_edge_px.value) {
            Some(px) => Self::Calibration(px),
            None => run.noise.box_edge_px.map_or(Self::Unstated, Self::Run),
        }
    }
}

/// A box against the sphere.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoxResidual {
    /// Id of the map fruitlet.
    pub map_id: String,
    /// Id of the image.
    pub frame: String,
    /// Position of the box in the image's detections.
    pub detection: u32,
    /// Id of the camera.
    pub camera: String,
    /// Distance of the box's centre from the principal point, pixels.
    pub image_radius_px: f64,
    /// Left, top, right, bottom: how much further out than predicted the box reaches there, pixels; negative where it
    /// is smaller. `None` where either edge is cut off by the border of the image.
    pub outward_px: [Option<f64>; 4],
}

/// The residuals of all matched map fruitlets.
pub(crate) fn residuals(case: &Case<'_>, calibration: Option<&Calibration>) -> ResidualDetails {
    let run = case.input.run;
    let lenses: Vec<Lens> = run.cameras.iter().map(Lens::new).collect();
    let eyes = cameras(run, calibration);
    let box_edge = StatedEdge::of(run, calibration);
    let (mut boxes, mut not_predicted) = (Vec::new(), 0);
    for (_, fruitlet, _) in case.pairs() {
        for &(at, _) in fruitlet.detections.iter().filter(|(_, c)| c.is_body()) {
            let eye = eyes.get(at.frame_idx as usize).copied().flatten();
            match eye.and_then(|eye| residual(run, &lenses, &eye, fruitlet, at)) {
                Some(residual) => boxes.push(residual),
                None => not_predicted += 1,
            }
        }
    }
    ResidualDetails {
        corrected_poses: calibration.is_some(),
        box_edge,
        edges: by_edge(&boxes, box_edge),
        by_radius: by_radius(&boxes),
        boxes,
        not_predicted,
    }
}

fn residual(
    run: &Run,
    lenses: &[Lens],
    orchard_from_camera: &Pose<Orchard, CameraFrame>,
    fruitlet: &Fruitlet,
    at: BoxRef,
) -> Option<BoxResidual> {
    let frame = run.frames.get(at.frame_idx as usize)?;
    let seen = &run.detection(at)?.box_px;
    let (lens, camera) = (
        lenses.get(frame.camera_idx)?,
        run.cameras.get(frame.camera_idx)?,
    );
    let centre = orchard_from_camera.inverse().apply(&fruitlet.centre).xyz;
    let whole = sphere_box(lens, &centre, fruitlet.diameter_m / 2.0).ok()?;
    let predicted = clip_box(lens, &whole)?;
    let [x0, y0, x1, y1] = *seen;
    let middle = nalgebra::Vector2::new(x0 + x1, y0 + y1) / 2.0;
    Some(BoxResidual {
        map_id: fruitlet.id.clone(),
        frame: frame.id.clone(),
        detection: at.detection_idx,
        camera: camera.id.clone(),
        image_radius_px: (middle - lens.principal_px()).norm(),
        outward_px: Side::ALL.map(|side| {
            let cut = cut_off(lens, side, seen) || cut_off(lens, side, &predicted);
            (!cut).then(|| further_out(side, seen, &predicted))
        }),
    })
}

fn further_out(side: Side, seen: &[f64; 4], predicted: &[f64; 4]) -> f64 {
    (side.midpoint(predicted) - side.midpoint(seen)).dot(&side.inward())
}

fn cut_off(lens: &Lens, side: Side, box_px: &[f64; 4]) -> bool {
    let at = side.midpoint(box_px);
    match side {
        Side::Left => at.x <= BORDER_PX,
        Side::Top => at.y <= BORDER_PX,
        Side::Right => at.x >= lens.width_px() - BORDER_PX,
        Side::Bottom => at.y >= lens.height_px() - BORDER_PX,
    }
}
