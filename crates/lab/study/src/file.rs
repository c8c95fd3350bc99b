//! A study as a person writes it.

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// A study file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StudyFile {
    /// Version of this format; 1.
    pub version: u32,
    /// Name of the study.
    pub name: String,
    /// Seeds; each scene is simulated once with each.
    pub seeds: Seeds,
    /// The scenes, at least one.
    #[serde(rename = "scene")]
    pub scenes: Vec<SceneEntry>,
    /// Paths of the scene, each with the list of values that it takes; every combination is run. At `rig`, `detector`
    /// and `errors` the values are files.
    #[serde(default)]
    pub vary: Map<String, Value>,
    /// Settings of the job that differ from the defaults.
    #[serde(default)]
    pub settings: Map<String, Value>,
    /// Settings of the job, each with the list of values that it takes; every combination is run.
    #[serde(default)]
    pub vary_settings: Map<String, Value>,
    /// Further figures of the score: name of the column -> path in `corymb score --json`.
    #[serde(default)]
    pub figures: BTreeMap<String, String>,
    /// Policy file; absent = the study ends with the map.
    #[serde(default)]
    pub policy: Option<String>,
    /// Arm file; absent = the study ends with the decisions.
    #[serde(default)]
    pub arm: Option<String>,
}

/// The seeds `first`, `first + 1` and so on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seeds {
    /// The first.
    #[serde(default = "one")]
    pub first: u64,
    /// How many, 1 or more; intervals need two.
    pub count: u32,
}

fn one() -> u64 {
    1
}

/// A scene of a study. Files are taken relative to the study file.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SceneEntry {
    /// Name in rows and tables, unlike all others; absent = the kind, or the file's name.
    pub name: Option<String>,
    /// A named scene; either this or `file`.
    pub kind: Option<String>,
    /// A scene file; either this or `kind`.
    pub file: Option<String>,
    /// A rig file that replaces the scene's cameras, and its passes where it has any.
    pub rig: Option<String>,
    /// A detector file that replaces the scene's detector.
    pub detector: Option<String>,
    /// An errors file that replaces the scene's errors.
    pub errors: Option<String>,
    /// Paths of the scene with the values that stand there instead.
    pub set: Map<String, Value>,
}
