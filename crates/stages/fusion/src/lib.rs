//! Boxes in images -> bodies in space, with their stems and calyx ends, and corrected poses.
//!
//! Frames, units: see `corymb_model`. The estimate is joint: which boxes show the same body, where the bodies are,
//! and where the rig was are solved together, because the common error of one image is as large as the gaps in a
//! cluster. [`fuse`] reads as the method does.

mod associate;
mod bodies;
mod config;
mod cubes;
mod depth;
mod diagnose;
mod discover;
mod edge_model;
mod envelope;
mod fuse;
mod grid;
mod journal;
mod known;
mod limbs;
mod merge;
mod motion;
mod nodes;
mod noise;
mod observe;
mod output;
pub mod parts;
mod predict;
mod refine;
mod region;
mod register;
mod sequential;
mod settle;
mod sway;
mod tracks;
mod trajectory;

pub use config::Config;
pub use fuse::fuse;
pub use known::fuse_known;
