//! Readers: from files to the model's types, everything checked on the way.

pub(crate) mod checks;
pub(crate) mod document;
mod known;

mod arm;
mod config;
mod counts;
mod frames;
mod labels;
mod orchard;
mod policy;
mod poses;
mod run;
mod trials;
mod truth;

mod calibration;
mod decisions;
mod diagnostics;
mod map;
mod orders;
mod output;

pub use arm::{FIRST_TOOL, read_arm};
pub use calibration::read_calibration;
pub use config::{read_json_checked, read_toml, read_toml_checked};
pub use decisions::read_decisions;
pub use diagnostics::read_diagnostics;
pub use document::Loaded;
pub use frames::BOX_OUTSIDE_SHARE;
pub use map::read_map;
pub use orchard::read_true_orchard;
pub use orders::{read_order_chances, read_orders, read_refusals};
pub use output::{OutputFolder, read_output, read_summary};
pub use policy::read_policy;
pub use run::{RunFolder, read_run, read_run_with};
pub use trials::read_trials;
pub use truth::read_truth;
