//! Charts of how good an output is, as SVG text.
//!
//! One file a chart. Each takes plain numbers and a line `about` them that stands under the title, and says in words
//! when there is nothing to draw. All share a sheet (`sheet`: 640 pixels wide, one scale of type, two colours that
//! stay apart for colour-blind eyes and in grey) and say everything a second time without colour: by shape, by a
//! printed count, and in the description that a screen reader reads out. The same numbers give the same bytes.

mod axes;
mod clusters;
mod errors;
mod histogram;
mod plot;
mod radius;
mod reliability;
mod residuals;
mod scale;
mod sheet;
mod sizes;
mod spread;

pub use axes::{AxisErrors, ShareWithin, axis_errors};
pub use clusters::{ClusterSizes, cluster_sizes};
pub use errors::{ErrorBins, error_by_pixel_area, error_by_views};
pub use histogram::Histogram;
pub use radius::{RadiusResiduals, residuals_by_radius};
pub use reliability::{Reliability, ReliabilityBin, reliability};
pub use residuals::{EdgeResiduals, EdgesResiduals, residuals_by_edge};
pub use sizes::{Sizes, sizes};
pub use spread::{Quantiles, SpreadBin};
