//! `summary.json`.

use crate::wire::header::output_file;
use crate::wire::num::Num;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

output_file! {
    /// How the run went; times stand only here.
    #[schemars(rename = "Summary")]
    SummaryFile {
        /// Name of the run.
        run: String,
        /// How far it went.
        stopped: StoppedWire,
        /// What was left out on the way: what -> how many.
        left_out: BTreeMap<String, u64>,
        /// Stages in their order.
        stages: Vec<StageWire>,
        /// Reason -> fruitlets refused for it.
        refusals: BTreeMap<String, u64>,
        /// Threads used.
        threads: usize,
        /// Time of the whole run.
        seconds: Num,
        /// Settings as used, a stage a field.
        settings: serde_json::Value,
    }
}

/// Where the run stopped.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Stopped")]
pub(crate) struct StoppedWire {
    /// The last stage that was done.
    pub(crate) after: String,
    /// Why it went no further.
    pub(crate) because: String,
}

/// A stage.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Stage")]
pub(crate) struct StageWire {
    /// Its name.
    pub(crate) name: String,
    /// How long it took.
    pub(crate) seconds: Num,
    /// How many things it worked on.
    pub(crate) items: u64,
    /// What those are.
    pub(crate) item: String,
    /// What came out: what -> how many.
    pub(crate) counts: BTreeMap<String, u64>,
}
