//! Studies from their files to their tables.
#![allow(clippy::unwrap_used, clippy::panic)] // a helper of a test may fail as the test does

mod files;
mod presets;
mod sweeps;
mod tables;
