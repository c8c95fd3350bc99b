//! The scorer against published values, against itself and against cases worked out by hand.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a helper of a test may fail as the test does

mod agreement;
mod bootstrap;
mod boxes;
mod clusterings;
mod compare;
mod details;
mod figures;
mod itself;
mod labels;
mod mistakes;
mod orchard;
mod orders;
mod precision;
mod rows;
mod shift;
mod stored;
mod tracking;
mod trials;
