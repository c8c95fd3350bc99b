//! Readers: from files to the model's types, everything checked on the way.

mod arm;
pub(crate) mod checks;
mod config;
pub(crate) mod document;
mod frames;
mod orchard;
mod policy;
mod poses;
mod run;
mod truth;

pub use arm::{FIRST_TOOL, read_arm};
pub use config::{read_toml, read_toml_checked};
pub use document::Loaded;
pub use frames::BOX_OUTSIDE_SHARE;
pub use policy::read_policy;
pub use run::{RunFolder, read_run, read_run_with};
pub use truth::read_truth;
