//! Laws, oracles and outside values of the geometry, one module a topic.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod assignment;
mod common;
mod edges;
mod gates;
mod lenses;
mod poses;
mod solids;
mod spheres;
mod triangulation;
mod worked_numbers;
