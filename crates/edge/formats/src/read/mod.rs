//! Readers: from files to the model's types, everything checked on the way.

pub(crate) mod checks;
pub(crate) mod document;
mod frames;
mod orchard;
mod poses;
mod run;

pub use run::{RunFolder, read_run, read_run_with};
