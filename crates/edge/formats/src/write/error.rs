//! Why a file was not written.

use std::path::PathBuf;

/// Why a file was not written. Nothing is left half-written in any case.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The disk said no.
    #[error("{path}: cannot {doing}: {source}", path = path.display())]
    Disk {
        /// File or folder.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// What the system says.
        source: std::io::Error,
    },
    /// A value cannot be written, for instance a number that is not finite.
    #[error("{file}: {source}")]
    Value {
        /// File that it was meant for.
        file: String,
        /// What is wrong with it.
        source: serde_json::Error,
    },
    /// A value cannot be written as TOML.
    #[error("{file}: {source}")]
    Toml {
        /// File that it was meant for.
        file: String,
        /// What is wrong with it.
        source: toml::ser::Error,
    },
    /// Something refers to what is not there.
    #[error("{file}: there is no {kind} number {position} (there are {count})")]
    Position {
        /// File that it was meant for.
        file: &'static str,
        /// What is referred to.
        kind: &'static str,
        /// Its position.
        position: usize,
        /// How many there are.
        count: usize,
    },
}
