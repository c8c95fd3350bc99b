//! What the acceptance tests share: the workspace as files, and the program as a user starts it.

pub mod house;
pub mod program;
pub mod source;

use std::path::PathBuf;

/// The top folder of the workspace.
#[must_use]
pub fn workspace() -> PathBuf {
    let member = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    member
        .parent()
        .map_or(member.clone(), std::path::Path::to_path_buf)
}
