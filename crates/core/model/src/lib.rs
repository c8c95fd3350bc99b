//! The messages that pass between corymb's stages: plain types, no algorithms, no wire detail.
//!
//! Inside the program every length is in metres, every angle in radians, every time in seconds and every image
//! coordinate in pixels, with the pixel origin at the outer top-left corner of the top-left pixel. A field whose
//! unit is not obvious carries it in its name. A transform is named `target_from_source`; a point or a direction
//! is typed by the frame that it is given in, see [`frames`].
//!
//! Read the modules in the order of the data: [`run`] and [`orchard`] come in, [`scene`] is what fusion makes of
//! them ([`diagnostics`] tells how far to trust it), [`map`] adds axes, spurs, clusters and trees, [`ways`] lists how
//! each cluster could be thinned with the [`arm`], [`decisions`] chooses one under the [`policy`], and [`orders`] is the task list.

pub mod arm;
pub mod decisions;
pub mod diagnostics;
pub mod frames;
pub mod map;
pub mod orchard;
pub mod orders;
pub mod policy;
pub mod run;
pub mod scene;
pub mod trials;
pub mod truth;
pub mod ways;

pub use frames::{Direction, Point, Pose};
