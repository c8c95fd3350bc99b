//! The program as a user starts it, and its results as files.

use crate::workspace;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// What a finished program said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// Exit code; `None` where a signal ended it.
    pub code: Option<i32>,
    /// All of stdout.
    pub stdout: String,
    /// All of stderr.
    pub stderr: String,
}

impl From<Output> for Said {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

/// A run folder and what goes with it, of the shipped fixture.
#[must_use]
pub fn fixture() -> PathBuf {
    workspace().join("fixtures/two_trees")
}

/// A command that starts `program` in `folder` with the words of `line`, without its first (`corymb`).
#[must_use]
pub fn command(program: &Path, folder: &Path, line: &str) -> Command {
    let mut command = Command::new(program);
    command
        .current_dir(folder)
        .args(line.split_whitespace().skip(1));
    command
}

/// Every file under a folder with its bytes, by path relative to it.
///
/// # Errors
/// What the system says about a file that cannot be read.
pub fn files(folder: &Path) -> std::io::Result<BTreeMap<String, Vec<u8>>> {
    let mut found = BTreeMap::new();
    let mut left = vec![folder.to_path_buf()];
    while let Some(next) = left.pop() {
        for entry in next.read_dir()? {
            let path = entry?.path();
            if path.is_dir() {
                left.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap_or(&path);
                found.insert(name.to_string_lossy().into_owned(), std::fs::read(&path)?);
            }
        }
    }
    Ok(found)
}

/// Copies a folder.
///
/// # Errors
/// What the system says.
pub fn copy_folder(from: &Path, to: &Path) -> std::io::Result<()> {
    for (name, bytes) in files(from)? {
        let target = to.join(name);
        if let Some(parent) = target.parent() {
            std::fs::create_dir_all(parent)?;
        }
        std::fs::write(target, bytes)?;
    }
    Ok(())
}
