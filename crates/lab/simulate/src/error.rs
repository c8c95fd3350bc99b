//! What can be wrong with a scene.

use thiserror::Error;

/// Why a scene cannot be simulated.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SimulateError {
    /// Fields of the scene that cannot be used, all of them at once.
    #[error("the scene has {} unusable field(s): {}", .0.len(), list(.0))]
    Unusable(Vec<Problem>),
    /// More bodies than a scene may hold.
    #[error("the scene grows more than {limit} bodies; lower the trees or the clusters on them")]
    TooManyBodies {
        /// The limit.
        limit: usize,
    },
}

/// One field that cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Path of the field, e.g. `cameras[0].focal_px`.
    pub field: String,
    /// What stands there.
    pub found: String,
    /// What may stand there.
    pub expected: &'static str,
}

fn list(problems: &[Problem]) -> String {
    let lines: Vec<String> = problems
        .iter()
        .map(|p| format!("{} is {}, expected {}", p.field, p.found, p.expected))
        .collect();
    lines.join("; ")
}
