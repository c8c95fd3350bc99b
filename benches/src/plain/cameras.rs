//! Lenses and stated poses, and the planes of each box.

use super::{Found, PlainConfig};
use corymb_geometry::camera::Lens;
use corymb_geometry::edges::box_planes;
use corymb_geometry::poses::interpolate;
use corymb_geometry::triangulate::{
    PlaneObservation, RadiusPrior, Triangulation, TriangulationConfig, triangulate,
};
use corymb_model::run::{BoxRef, Run};
use nalgebra::Isometry3;
use std::collections::BTreeMap;

/// Pixels from the border within which an edge is cut.
const BORDER_PX: f64 = 2.0;
/// Views that a sphere is computed from: more cost time and add little.
const MOST_VIEWS: usize = 40;

/// Where each image was taken from, as stated.
pub(super) struct Placement {
    pub(super) lenses: Vec<Lens>,
    pub(super) orchard_from_camera: Vec<Option<Isometry3<f64>>>,
    planes: BTreeMap<BoxRef, [PlaneObservation; 4]>,
    prior: RadiusPrior,
}

impl Placement {
    pub(super) fn of(run: &Run, config: &PlainConfig) -> Self {
        let lenses: Vec<Lens> = run.cameras.iter().map(Lens::new).collect();
        let pose = |f: &corymb_model::run::Frame| {
            let rig = match f.orchard_from_rig {
                Some(pose) => Some(pose),
                None => interpolate(&run.poses, f.time_s, 0.05).ok(),
            };
            let rig_from_camera = &run.cameras.get(f.camera_idx)?.rig_from_camera;
            Some(rig?.after(rig_from_camera).iso)
        };
        let orchard_from_camera: Vec<_> = run.frames.iter().map(pose).collect();
        let sigma_px = run.noise.box_edge_px.unwrap_or(config.box_edge_px).max(0.1);
        let mut planes = BTreeMap::new();
        for (at, frame_idx) in boxes(run) {
            let (Some(detection), Some(placed)) =
                (run.detection(at), &orchard_from_camera[frame_idx])
            else {
                continue;
            };
            let lens = &lenses[run.frames[frame_idx].camera_idx];
            if let Ok(four) = box_planes(lens, &detection.box_px, BORDER_PX) {
                let plane = |p| PlaneObservation::new(p, placed, sigma_px, at.frame_idx);
                planes.insert(at, four.each_ref().map(plane));
            }
        }
        Self {
            lenses,
            orchard_from_camera,
            planes,
            prior: RadiusPrior {
                mean_m: config.radius_m.0,
                sigma_m: config.radius_m.1,
            },
        }
    }

    /// Whether a box has planes.
    pub(super) fn knows(&self, at: BoxRef) -> bool {
        self.planes.contains_key(&at)
    }

    /// The sphere that touches the planes of the boxes, or none where they do not tell.
    pub(super) fn sphere(&self, boxes: &[BoxRef]) -> Option<Found> {
        let step = boxes.len().div_ceil(MOST_VIEWS).max(1);
        let planes: Vec<PlaneObservation> = boxes
            .iter()
            .step_by(step)
            .filter_map(|at| self.planes.get(at))
            .flatten()
            .copied()
            .collect();
        // what poses and leaves do to the residuals is not in the stated noise
        let limits = TriangulationConfig {
            max_chi2_per_dof: f64::INFINITY,
            min_parallax_rad: 0.0,
            ..TriangulationConfig::default()
        };
        match triangulate(&planes, Some(&self.prior), &limits) {
            Triangulation::Sphere {
                centre,
                radius_m,
                covariance,
                ..
            } => Some(Found {
                boxes: boxes.to_vec(),
                centre,
                radius_m,
                covariance_m2: covariance,
            }),
            _ => None,
        }
    }
}

fn boxes(run: &Run) -> impl Iterator<Item = (BoxRef, usize)> {
    run.frames.iter().enumerate().flat_map(|(f, frame)| {
        let bodies = (0..frame.detections.len()).filter(|&d| frame.detections[d].class.is_body());
        bodies.filter_map(move |d| Some((box_ref(f, d)?, f)))
    })
}

/// The name of a box by its positions.
pub(super) fn box_ref(frame: usize, detection: usize) -> Option<BoxRef> {
    Some(BoxRef {
        frame_idx: u32::try_from(frame).ok()?,
        detection_idx: u32::try_from(detection).ok()?,
    })
}
