//! The orchard as it truly is: wood, clusters, bodies, leaves.

mod body;
mod cluster;
mod crop;
mod leaf;
mod neighbours;
mod polyline;
mod tree;

pub(crate) use crop::{Crop, crop};
pub(crate) use polyline::across;
pub(crate) use tree::{limb_as_filed, orchard};

pub use body::TrueBody;
pub use leaf::TrueLeaf;
