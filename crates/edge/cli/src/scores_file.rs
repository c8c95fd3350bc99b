//! `scores.json` and the tables beside it.

use crate::exit::Failure;
use crate::interrupt;
use corymb_formats::Publication;
use corymb_score::rows::Rows;
use corymb_score::{Scores, clusters_csv, frames_csv, scores_csv, units_csv};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;

/// The file that `corymb compare` reads.
pub(crate) const SCORES: &str = "scores.json";
/// All that a folder of scores can hold.
const FILES: [&str; 5] = [
    SCORES,
    "scores.csv",
    "trees.csv",
    "clusters.csv",
    "frames.csv",
];

/// A score on disk.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
pub(crate) struct ScoresFile {
    /// Version of this format, 1; it rises when a field goes or changes its meaning.
    version: u32,
    /// Version of the program that wrote the file.
    tool_version: String,
    /// Input file name -> SHA-256 of its bytes, hexadecimal.
    pub(crate) inputs: BTreeMap<String, String>,
    /// Which of the inputs is the truth.
    pub(crate) truth: String,
    /// Name of the run.
    pub(crate) run: String,
    /// The score unit by unit; null where there was nothing to place.
    pub(crate) rows: Option<Rows>,
    /// Every figure, part by part.
    figures: BTreeMap<String, Value>,
}

/// Writes a score, all files or none. Of the inputs it is said which is the truth.
///
/// # Errors
/// The disk.
pub(crate) fn write(
    dir: &Path,
    run: &str,
    (inputs, truth): (BTreeMap<String, String>, String),
    scores: &Scores,
) -> Result<(), Failure> {
    let mut figures = BTreeMap::new();
    if let Value::Object(parts) = serde_json::to_value(scores)? {
        figures.extend(parts.into_iter().filter(|(name, _)| name != "rows"));
    }
    let rows = scores.rows.figures();
    let file = ScoresFile {
        version: 1,
        tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        inputs,
        truth,
        run: run.to_owned(),
        rows: rows.cloned(),
        figures,
    };
    let _interrupts_wait = interrupt::begin_writing();
    let mut publication = Publication::folder(dir, &FILES)?;
    publication.json(SCORES, &file)?;
    publication.bytes("scores.csv", &scores_csv(scores)?)?;
    if let Some(rows) = rows {
        publication.bytes("trees.csv", &units_csv(rows)?)?;
        publication.bytes("clusters.csv", &clusters_csv(rows)?)?;
        publication.bytes("frames.csv", &frames_csv(rows)?)?;
    }
    publication.publish()?;
    Ok(())
}
