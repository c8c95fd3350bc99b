//! How a run went.

use std::collections::BTreeMap;

/// What `summary.json` says beside its header. Times stand only here, so that every other output is the same for the
/// same input.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Summary {
    /// Name of the run.
    pub run: String,
    /// The last stage that was done.
    pub stopped_after: String,
    /// Why the run went no further, in plain words.
    pub stopped_because: String,
    /// What was left out on the way (images without a usable pose ..): what -> how many.
    pub left_out: BTreeMap<String, u64>,
    /// Stages in their order.
    pub stages: Vec<StageSummary>,
    /// Reason -> fruitlets refused for it.
    pub refusals: BTreeMap<String, u64>,
    /// Threads used.
    pub threads: usize,
    /// Time of the whole run.
    pub seconds: f64,
    /// Settings as used, a stage a field.
    pub settings: serde_json::Value,
}

/// How a stage went.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StageSummary {
    /// Its name.
    pub name: String,
    /// How long it took.
    pub seconds: f64,
    /// How many things it worked on.
    pub items: u64,
    /// What those are, in the plural.
    pub item: String,
    /// What came out: what -> how many.
    pub counts: BTreeMap<String, u64>,
}
