//! Each fruitlet of the map beside its true one, and the true ones that are missed.

use crate::case::Case;
use crate::figure::median;
use corymb_model::map::Fruitlet;
use corymb_model::run::Run;
use corymb_model::truth::TrueFruitlet;
use nalgebra::Vector3;
use serde::Serialize;

/// A fruitlet of the map, of the truth, or of both.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FruitDetail {
    /// What came of it.
    pub outcome: Outcome,
    /// The true one.
    #[serde(rename = "true")]
    pub truth: Option<TrueSide>,
    /// The one of the map.
    pub map: Option<MapSide>,
    /// What the map is off by, where there are both.
    pub error: Option<FruitError>,
}

/// What came of a fruitlet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// In the map, and a true one that is considered.
    Right,
    /// In the map, and a true one that is not considered, since too few images show it.
    NotConsidered,
    /// In the map, and no true one.
    False,
    /// In the map, and the truth is silent about it: its boxes are not labelled, or show an object without a place.
    NotJudged,
    /// A considered true one that is not in the map.
    Missed,
}

impl Outcome {
    /// The word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Outcome::Right => "right",
            Outcome::NotConsidered => "not_considered",
            Outcome::False => "false",
            Outcome::NotJudged => "not_judged",
            Outcome::Missed => "missed",
        }
    }
}

/// What the truth says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrueSide {
    /// Id.
    pub id: String,
    /// Id of its tree.
    pub tree: String,
    /// Id of its cluster.
    pub cluster: String,
    /// Images that show it.
    pub images: usize,
    /// Diameter, millimetres.
    pub diameter_mm: f64,
}

/// What the map says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapSide {
    /// Id.
    pub id: String,
    /// Id of its tree, where known.
    pub tree: Option<String>,
    /// Id of its cluster.
    pub cluster: String,
    /// Images that show it.
    pub views: usize,
    /// Median over its body boxes of their longer side, pixels.
    pub box_side_px: Option<f64>,
    /// Median over its body boxes of their area, square pixels.
    pub box_area_px2: Option<f64>,
    /// Diameter, millimetres.
    pub diameter_mm: f64,
    /// Probability that it exists.
    pub existence: f64,
    /// Stated standard deviation of the centre along x, y and z, without what neighbours share, millimetres.
    pub centre_deviation_mm: [f64; 3],
    /// Stated standard deviation per axis of what neighbours share, millimetres.
    pub shared_deviation_mm: f64,
    /// Stated standard deviation of the diameter, millimetres.
    pub diameter_deviation_mm: f64,
    /// Stated standard deviation of the axis, where one is stated, degrees.
    pub axis_deviation_deg: Option<f64>,
}

/// Map minus truth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FruitError {
    /// Of the centre after the shift is added, along x, y and z, millimetres.
    pub centre_mm: [f64; 3],
    /// Its size, millimetres.
    pub centre_size_mm: f64,
    /// What was added to the map's centre, millimetres; zero where the map stands as stated.
    pub shift_mm: [f64; 3],
    /// Of the diameter, millimetres.
    pub diameter_mm: f64,
    /// Angle between the axes, where the map states one, degrees.
    pub axis_deg: Option<f64>,
}

/// Every fruitlet, as [`super::Details::fruitlets`] orders them.
pub(crate) fn fruitlets(case: &Case<'_>) -> Vec<FruitDetail> {
    let in_map = case
        .decided()
        .map(|(k, fruitlet)| of_map(case, k, fruitlet));
    let truth = &case.truth().fruitlets;
    let missed = truth.iter().enumerate().filter_map(|(g, fruit)| {
        let missing = case.labels.considered(g) && case.map_of(g).is_none();
        missing.then(|| FruitDetail {
            outcome: Outcome::Missed,
            truth: Some(true_side(case, g, fruit)),
            map: None,
            error: None,
        })
    });
    in_map.chain(missed).collect()
}

fn of_map(case: &Case<'_>, map_idx: usize, fruitlet: &Fruitlet) -> FruitDetail {
    let pair = case
        .truth_of(map_idx)
        .and_then(|g| Some((g, case.truth().fruitlets.get(g)?)));
    FruitDetail {
        outcome: match pair {
            None if case.is_silent(map_idx) => Outcome::NotJudged,
            None => Outcome::False,
            Some((g, _)) if case.labels.considered(g) => Outcome::Right,
            Some(_) => Outcome::NotConsidered,
        },
        truth: pair.map(|(g, fruit)| true_side(case, g, fruit)),
        map: Some(map_side(case, fruitlet)),
        error: pair.and_then(|(_, fruit)| error(case, map_idx, fruitlet, fruit)),
    }
}

fn true_side(case: &Case<'_>, truth_idx: usize, fruit: &TrueFruitlet) -> TrueSide {
    TrueSide {
        id: fruit.id.clone(),
        tree: fruit.tree.clone(),
        cluster: fruit.cluster.clone(),
        images: case.labels.images.get(truth_idx).copied().unwrap_or(0),
        diameter_mm: 1e3 * fruit.diameter_m,
    }
}

fn map_side(case: &Case<'_>, fruitlet: &Fruitlet) -> MapSide {
    let sizes = box_sizes(case.input.run, fruitlet);
    let of = |size: &dyn Fn(&[f64; 2]) -> f64| median(sizes.iter().map(size).collect());
    let deviation_mm = |i: usize| 1e3 * fruitlet.covariance_m2[(i, i)].max(0.0).sqrt();
    let cluster = case.map.clusters.get(fruitlet.cluster_idx);
    MapSide {
        id: fruitlet.id.clone(),
        tree: case.tree_of(fruitlet).map(str::to_owned),
        cluster: cluster.map(|c| c.id.clone()).unwrap_or_default(),
        views: fruitlet.views,
        box_side_px: of(&|[w, h]| w.max(*h)),
        box_area_px2: of(&|[w, h]| w * h),
        diameter_mm: 1e3 * fruitlet.diameter_m,
        existence: fruitlet.existence,
        centre_deviation_mm: [0, 1, 2].map(deviation_mm),
        shared_deviation_mm: 1e3 * fruitlet.shared_deviation_m,
        diameter_deviation_mm: 2.0 * deviation_mm(3),
        axis_deviation_deg: fruitlet.axis.map(|a| a.deviation_rad.to_degrees()),
    }
}

/// Width and height of each body box of a map fruitlet, pixels.
fn box_sizes(run: &Run, fruitlet: &Fruitlet) -> Vec<[f64; 2]> {
    fruitlet
        .detections
        .iter()
        .filter(|(_, class)| class.is_body())
        .filter_map(|&(at, _)| Some(run.detection(at)?.box_px))
        .map(|[x0, y0, x1, y1]| [x1 - x0, y1 - y0])
        .collect()
}

fn error(
    case: &Case<'_>,
    map_idx: usize,
    fruitlet: &Fruitlet,
    truth: &TrueFruitlet,
) -> Option<FruitError> {
    let mm = |v: Vector3<f64>| -> [f64; 3] { (v * 1e3).into() };
    let off = case.centre(map_idx)? - truth.centre.xyz;
    Some(FruitError {
        centre_mm: mm(off),
        centre_size_mm: 1e3 * off.norm(),
        shift_mm: mm(*case.moved.fruitlet.get(map_idx)?),
        diameter_mm: 1e3 * (fruitlet.diameter_m - truth.diameter_m),
        axis_deg: (fruitlet.axis).map(|a| a.direction.xyz.angle(&truth.axis.xyz).to_degrees()),
    })
}
