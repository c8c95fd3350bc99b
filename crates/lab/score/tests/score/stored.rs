//! The values under `fixtures/reference`.

use serde_json::Value;
use std::path::{Path, PathBuf};

/// Path of a file there.
pub(crate) fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../../fixtures/reference")
        .join(name)
}

/// A stored file, and its tolerance.
pub(crate) fn stored(name: &str) -> (Value, f64) {
    let text = std::fs::read_to_string(path(name)).unwrap();
    let value: Value = serde_json::from_str(&text).unwrap();
    let tolerance = value["tolerance"].as_f64().unwrap();
    (value, tolerance)
}

/// The rows of a list.
pub(crate) fn rows(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

/// The greatest difference between our figures and stored ones that has been seen.
#[derive(Default)]
pub(crate) struct Greatest {
    pub(crate) difference: f64,
    pub(crate) compared: usize,
}

impl Greatest {
    /// Compares a figure that both define or neither.
    pub(crate) fn compare(
        &mut self,
        what: &str,
        ours: Option<f64>,
        theirs: &Value,
        tolerance: f64,
    ) {
        let difference = match (ours, theirs.as_f64()) {
            (Some(ours), Some(theirs)) => (ours - theirs).abs(),
            (None, None) => 0.0,
            _ => f64::INFINITY,
        };
        assert!(
            difference <= tolerance,
            "{what}: {ours:?}, elsewhere {theirs}"
        );
        self.difference = self.difference.max(difference);
        self.compared += 1;
    }
}
