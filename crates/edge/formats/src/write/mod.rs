//! Writers: from the model's types to files that appear whole or not at all.

mod calibration;
mod decisions;
mod diagnostics;
mod error;
mod layout;
mod map;
mod names;
mod orders;
mod publish;
mod run;
mod settings;
mod summary;
mod truth;

pub use error::WriteError;
pub(crate) use orders::tool_name;
pub use publish::{Header, Publication};
pub use run::write_run;
pub use settings::{write_arm, write_policy};
pub use truth::write_truth;
