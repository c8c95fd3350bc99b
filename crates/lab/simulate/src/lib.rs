//! Placeholder until this crate is written.
