//! What the figures rest on, item by item: fruitlets, boxes, clusters, and errors in bins.
//!
//! For figures and for analyses that the figures do not answer. Everything is given with the slow common shift taken
//! away where it can be estimated; [`Details::placed`] says which, and each fruitlet carries its shift, so that the
//! error as stated is the error minus the shift.

mod bins;
mod clusters;
mod edges;
mod fruit;
mod residuals;
mod views;

pub use bins::ErrorBin;
pub use clusters::ClusterDetail;
pub use edges::{EdgeSpread, RadiusBin};
pub use fruit::{FruitDetail, FruitError, MapSide, Outcome, TrueSide};
pub use residuals::{BoxResidual, ResidualDetails, StatedEdge};

use crate::association::Claims;
use crate::case::{Case, TrueClusters};
use crate::input::ScoreInput;
use crate::labels::Labels;
use crate::matching::Matching;
use crate::shift::{CommonShift, Moved};
use corymb_model::map::CropMap;
use corymb_model::scene::Calibration;
use serde::Serialize;

/// Everything item by item.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Details {
    /// Where the map stood when it was compared.
    pub placed: Placed,
    /// Map fruitlets that get decisions, in the order of the map, then the considered true fruitlets that are missed,
    /// in the order of the truth.
    pub fruitlets: Vec<FruitDetail>,
    /// Boxes of matched map fruitlets against the spheres of the map.
    pub residuals: ResidualDetails,
    /// True clusters with considered fruit, by name.
    pub clusters: Vec<ClusterDetail>,
    /// Size of the centre error of matched, considered fruit by the images that show the map fruitlet.
    pub error_by_views: Vec<ErrorBin>,
    /// The same by the median area of its boxes, square pixels.
    pub error_by_pixel_area: Vec<ErrorBin>,
}

/// Where the map stood when it was compared.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Placed {
    /// Moved by the slow common shift of its place.
    ShiftRemoved,
    /// As stated, because the shift cannot be estimated.
    AsStated {
        /// Why not.
        because: String,
    },
}

/// The details of a run's map; `None` without a map. Boxes are predicted through the corrected poses and mountings of
/// `calibration`, without it through those of the run. O(boxes log boxes).
#[must_use]
pub fn details(input: &ScoreInput<'_>, calibration: Option<&Calibration>) -> Option<Details> {
    let map = input.map?;
    let labels = Labels::of(input.run, input.truth);
    let clusters = TrueClusters::of(input.truth, &labels);
    let claims = Claims::of(map, |at| input.run.detection(at).is_some());
    let (placed, moved) = place(input, map, &labels);
    let case = Case {
        input,
        map,
        labels: &labels,
        claims: &claims,
        clusters: &clusters,
        moved: &moved,
        matching: Matching::of(map, &moved, input.truth, &labels),
    };
    let fruitlets = fruit::fruitlets(&case);
    Some(Details {
        placed,
        residuals: residuals::residuals(&case, calibration),
        clusters: clusters::clusters(&case),
        error_by_views: bins::by_views(&fruitlets),
        error_by_pixel_area: bins::by_pixel_area(&fruitlets),
        fruitlets,
    })
}

fn place(input: &ScoreInput<'_>, map: &CropMap, labels: &Labels<'_>) -> (Placed, Moved) {
    match CommonShift::of(map, input.truth, labels) {
        Ok(shift) => (Placed::ShiftRemoved, Moved::by(&shift, map)),
        Err(because) => (Placed::AsStated { because }, Moved::nothing(map)),
    }
}
