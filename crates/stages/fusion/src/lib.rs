//! Placeholder until this crate is written.
pub mod parts;
