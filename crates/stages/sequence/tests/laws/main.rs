//! What a sequence must satisfy: exact paths against all permutations, published optima, precedences, fewest stops,
//! independence of the order of the input.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a helper of a test may fail as the test does

mod list;
mod paths;
mod published;
mod row;
mod stops;
