//! The files that a study names, from the disk.

use corymb_formats::{Problems, read_arm, read_policy, read_toml};
use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use corymb_simulate::SceneSpec;
use corymb_simulate::spec::{DetectorFile, ErrorsFile, RigFile};
use corymb_study::{Files, StudyProblem};
use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};

/// Files relative to a study's folder, and what was wrong with them.
pub struct Disk {
    folder: PathBuf,
    problems: Vec<String>,
}

impl Disk {
    /// Files beside the study at `path`.
    #[must_use]
    pub fn beside(path: &Path) -> Self {
        Self {
            folder: path.parent().unwrap_or(Path::new("")).to_path_buf(),
            problems: Vec::new(),
        }
    }

    /// All that is wrong with the study's files and with the study itself, a line each.
    #[must_use]
    pub fn account(&self, study: &[StudyProblem]) -> String {
        let own = study
            .iter()
            .map(|p| format!("{}: found {:?}, expected {}", p.field, p.found, p.expected));
        let lines: Vec<String> = self.problems.iter().cloned().chain(own).collect();
        lines.join("\n")
    }

    fn keep<T>(&mut self, read: Result<T, Problems>) -> Option<T> {
        read.map_err(|p| self.problems.push(p.to_string())).ok()
    }

    fn toml<T: DeserializeOwned>(&mut self, file: &str) -> Option<T> {
        let read = read_toml(&self.folder.join(file));
        self.keep(read).map(|loaded| loaded.value)
    }
}

impl Files for Disk {
    fn scene(&mut self, file: &str) -> Option<SceneSpec> {
        self.toml(file)
    }

    fn rig(&mut self, file: &str) -> Option<RigFile> {
        self.toml(file)
    }

    fn detector(&mut self, file: &str) -> Option<DetectorFile> {
        self.toml(file)
    }

    fn errors(&mut self, file: &str) -> Option<ErrorsFile> {
        self.toml(file)
    }

    fn policy(&mut self, file: &str) -> Option<Policy> {
        let read = read_policy(&self.folder.join(file));
        self.keep(read).map(|loaded| loaded.value)
    }

    fn arm(&mut self, file: &str) -> Option<ArmSetup> {
        let read = read_arm(&self.folder.join(file));
        self.keep(read).map(|loaded| loaded.value)
    }
}
