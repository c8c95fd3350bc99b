//! What a camera sees: outlines by sampling, hidden parts by casting rays.

mod ball;
mod occluders;
mod parts;
mod sampling;
mod spheroid;
mod stem;
mod view;

pub(crate) use parts::{Part, Sighting};
pub(crate) use view::{Looker, look};
