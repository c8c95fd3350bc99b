//! Pages and pictures of finished results, as text: nothing here computes a result or writes a file.
//!
//! - [`trees`]: what happened on each tree, as rows and as a table for a terminal;
//! - [`overlay`]: an image's detector boxes under the outlines that the map predicts, as SVG;
//! - [`charts`]: how good an output is, as SVG;
//! - [`CAUTIONS`]: what must be said wherever orders are shown.

pub mod charts;
pub mod overlay;
mod svg;
pub mod table;
pub mod trees;

/// Cautions shown once where orders are written, and in the README.
pub const CAUTIONS: &str = "\
A moving arm with a blade can hurt people. corymb is not a safety function and carries no performance level: \
stopping, guarding, speed and separation belong to the machine and its risk assessment (ISO 12100, ISO 10218-1/-2, \
ISO 13849-1, ISO 18497 for autonomous agricultural machinery, local codes). \
Thinning targets are the grower's and adviser's decision.";
