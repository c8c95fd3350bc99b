//! Orchards with known truth, and cameras that look at them.
//!
//! [`simulate`] grows an orchard from a [`SceneSpec`] and a seed, drives the rig past it and reports what a
//! detector would box in each image, together with the truth. Everything is invented; the sources of the figures
//! stand beside the named scenes (`fixtures/scenes/README.md`).
//!
//! Nothing here calls the estimator's geometry: the projection is forward only, by sampling outlines, so that an
//! error in the one cannot hide in the other.
//!
//! The same spec and seed give the same bytes on any number of threads. Each purpose draws from a random stream of
//! its own, so that more noise does not grow another orchard.

pub mod as_found;
mod detect;
mod drive;
mod error;
mod grow;
mod lens;
mod look;
mod outcome;
pub mod spec;
mod streams;

pub use as_found::{truth_as_map, truth_as_scene};
pub use error::SimulateError;
pub use grow::{TrueBody, TrueLeaf};
pub use outcome::{Simulated, TrueFrame, TrueScene};
pub use spec::SceneSpec;

use streams::Streams;

/// Grows the orchard of `spec`, drives the rig past it and detects what its cameras see.
///
/// Lengths come out in metres, angles in radians, times in seconds, boxes in pixels. Work grows with images times
/// the bodies that each shows.
///
/// # Errors
/// [`SimulateError`] with every field of `spec` that cannot be used.
pub fn simulate(spec: &SceneSpec, seed: u64) -> Result<Simulated, SimulateError> {
    spec::check(spec)?;
    let streams = Streams::new(seed);
    let orchard = grow::orchard(&spec.orchard, &streams);
    let crop = grow::crop(spec, &orchard, &streams)?;
    let drive = drive::drive(spec, &streams);
    let images = detect::images(spec, &crop, &drive, &streams);
    Ok(outcome::assemble(
        spec, orchard, crop, &drive, images, &streams,
    ))
}
