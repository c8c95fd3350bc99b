//! The files as typed: plain structures that say how each field is spelt, in the file's units. Whether their content
//! makes sense is checked when they are turned into the model's types.

pub(crate) mod num;
pub(crate) mod pose;
pub(crate) mod strict;
pub(crate) mod text;

pub(crate) mod arm;
pub(crate) mod calibration;
pub(crate) mod decisions;
pub(crate) mod diagnostics;
pub(crate) mod frames;
pub(crate) mod header;
pub(crate) mod map;
pub(crate) mod orchard;
pub(crate) mod orders;
pub(crate) mod policy;
pub(crate) mod run;
pub(crate) mod summary;
pub(crate) mod truth;
