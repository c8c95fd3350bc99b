//! What must hold of every simulated run.

// helpers of tests fail as tests do
#![allow(clippy::unwrap_used, clippy::panic)]

mod common;
mod crop;
mod drive;
mod noise;
mod scenes;
mod shapes;
mod sight;
