//! The files of corymb: run folders, truth, policies and arms in; the map, decisions, orders and what goes with them
//! out. Everything is checked at the door: a problem names its file, line and field, what was found, what was expected
//! and what to do, and has a stable code that [`explain`] knows.

mod codes;
mod convert;
mod date;
mod findings;
mod limits;
mod lines;
mod problem;
mod read;
mod schemas;
mod shape;
mod source;
mod summary;
mod tree;
mod wire;
mod write;

pub use codes::{Code, CodeEntry, all_codes, explain};
pub use limits::Limits;
pub use problem::{Problem, Problems};
pub use read::{
    BOX_OUTSIDE_SHARE, FIRST_TOOL, Loaded, OutputFolder, RunFolder, read_arm, read_calibration,
    read_decisions, read_diagnostics, read_json_checked, read_map, read_order_chances, read_orders,
    read_output, read_policy, read_refusals, read_run, read_run_with, read_summary, read_toml,
    read_toml_checked, read_trials, read_true_orchard, read_truth,
};
pub use schemas::schemas;
pub use source::Packing;
pub use summary::{StageSummary, Summary};
pub use write::{Header, Publication, WriteError, write_arm, write_policy, write_run, write_truth};
