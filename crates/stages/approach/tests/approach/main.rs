//! The stage through its public interface: geometry against brute force, hand-made clusters, random clusters whose
//! orders are carried out by an independent check of the conditions.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail the test

mod execute;
mod fixture;
mod laws;
mod refusals;
mod sweep;
mod ways;
