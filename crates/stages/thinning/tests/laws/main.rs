//! What the choice must satisfy: optimality against brute force and an integer programme, published trade numbers,
//! explanations, and independence of the order of the input.

#![allow(clippy::unwrap_used, clippy::expect_used)] // a helper of a test may fail as the test does

mod block;
mod explained;
mod optimal;
mod programme;
mod trade;
