//! The plain way from boxes to a crop map, to measure against: track in each camera, triangulate each track, join
//! tracks that meet in space, and gather fruit by density. Poses are taken as stated, nothing is estimated jointly.

mod cameras;
mod density;
mod join;
mod map;
mod stems;
mod tracker;

use cameras::Placement;
use corymb_model::map::CropMap;
use corymb_model::run::{BoxRef, Run};
use corymb_study::{Estimate, Estimator, Given};
use nalgebra::{Matrix4, Vector3};

/// Settings of the plain way.
#[derive(Debug, Clone, PartialEq)]
pub struct PlainConfig {
    /// Mean and standard deviation of the radius, metres: what a person would guess at the growth stage.
    pub radius_m: (f64, f64),
    /// Standard deviation of a box edge where the run states none, pixels.
    pub box_edge_px: f64,
    /// Overlap (intersection over union) of a predicted and a detected box from which they may be the same.
    pub least_overlap: f64,
    /// How far the common shift of an image against its stated pose is searched, pixels.
    pub search_px: f64,
    /// Images of its camera that a track survives without a box.
    pub survives: usize,
    /// Boxes that a track needs to count: A. Bewley et al., "Simple online and realtime tracking", ICIP 2016, use 3.
    pub least_boxes: usize,
    /// Tracks this near, as a share of the sum of their radii, are one fruit.
    pub join_within: f64,
    /// Fruit this near are neighbours, metres. 35 mm brings the most clusters right on invented runs of `close` and
    /// `platform` (of 20, 25, 30, 35, 40): the plain way is given its best.
    pub neighbour_m: f64,
    /// Neighbours, itself included, from which a fruit is the core of a cluster.
    pub least_neighbours: usize,
}

impl Default for PlainConfig {
    fn default() -> Self {
        Self {
            radius_m: (0.007, 0.0025),
            box_edge_px: 1.5,
            least_overlap: 0.1,
            search_px: 60.0,
            survives: 5,
            least_boxes: 3,
            join_within: 0.8,
            neighbour_m: 0.035,
            least_neighbours: 2,
        }
    }
}

/// A fruit while it is being found.
#[derive(Debug, Clone)]
struct Found {
    boxes: Vec<BoxRef>,
    centre: Vector3<f64>,
    radius_m: f64,
    covariance_m2: Matrix4<f64>,
}

/// Boxes to crop map by the plain way.
#[must_use]
pub fn plain_map(run: &Run, config: &PlainConfig) -> CropMap {
    let placement = Placement::of(run, config);
    let mut found = Vec::new();
    for camera in 0..run.cameras.len() {
        found.extend(tracker::tracks(run, &placement, camera, config));
    }
    let found = join::join(&placement, found, config);
    let groups = density::groups(&found, config);
    let stems = stems::of_fruit(run, &found);
    map::assemble(run, &found, &groups, &stems)
}

/// The plain way as a contestant of studies.
#[derive(Debug, Clone, Default)]
pub struct Plain {
    /// Its settings.
    pub config: PlainConfig,
}

impl Estimator for Plain {
    fn name(&self) -> &str {
        "plain"
    }

    fn estimate(&self, run: &Run, _given: &Given<'_>) -> Estimate {
        Estimate {
            map: plain_map(run, &self.config),
            ..Estimate::default()
        }
    }
}
