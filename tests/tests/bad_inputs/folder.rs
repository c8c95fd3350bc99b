//! Bad inputs: the sound files under `fixtures/bad/sound`, one thing changed.

use corymb_formats::{
    Limits, Problem, read_arm, read_order_chances, read_output, read_policy, read_run,
    read_run_with, read_trials, read_truth,
};
use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// The files of a bad input by name, relative to its folder.
pub(crate) struct BadFolder {
    files: BTreeMap<String, Vec<u8>>,
    /// Folders that stand where a file should.
    folders: Vec<String>,
}

/// Which reader meets the bad input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Reader {
    /// The run folder.
    Run,
    /// The run folder, its warnings taken for problems.
    RunWarnings,
    /// A run folder that does not exist.
    RunElsewhere,
    /// The run folder with limits so small that the sound run just fits.
    RunTight,
    /// `policy.toml`.
    Policy,
    /// `arm.toml`.
    Arm,
    /// `truth.json`.
    Truth,
    /// The output folder.
    Output,
    /// `trials.csv`.
    Trials,
    /// What the orders of the output folder say of their success.
    Chances,
}

fn sound_folder() -> PathBuf {
    corymb_tests::workspace().join("fixtures/bad/sound")
}

/// Limits that the sound run keeps, with little to spare.
pub(crate) fn tight_limits() -> Limits {
    Limits {
        problems: 100,
        document_bytes: 2000,
        lines_bytes: 2000,
        line_bytes: 1000,
        records: 3,
        detections: 4,
        depth: 7,
    }
}

impl BadFolder {
    /// The sound files.
    pub(crate) fn sound() -> Self {
        let mut files = BTreeMap::new();
        for folder in ["", "out/"] {
            for entry in fs::read_dir(sound_folder().join(folder))
                .unwrap()
                .map(|e| e.unwrap())
            {
                if entry.path().is_file() {
                    let name = format!("{folder}{}", entry.file_name().into_string().unwrap());
                    files.insert(name, fs::read(entry.path()).unwrap());
                }
            }
        }
        Self {
            files,
            folders: Vec::new(),
        }
    }

    /// The text of a file.
    pub(crate) fn text(&self, file: &str) -> String {
        String::from_utf8(self.files[file].clone()).unwrap()
    }

    /// Replaces the first `from` of a file.
    pub(crate) fn swap(&mut self, file: &str, from: &str, to: &str) {
        let text = self.text(file);
        assert!(text.contains(from), "{file} does not hold {from}");
        self.put(file, text.replacen(from, to, 1).as_bytes());
    }

    /// Writes a file.
    pub(crate) fn put(&mut self, file: &str, bytes: &[u8]) {
        self.files.insert(file.to_owned(), bytes.to_vec());
    }

    /// Adds to the end of a file.
    pub(crate) fn append(&mut self, file: &str, text: &str) {
        let whole = self.text(file) + text;
        self.put(file, whole.as_bytes());
    }

    /// Removes a file.
    pub(crate) fn remove(&mut self, file: &str) {
        self.files.remove(file);
    }

    /// Replaces the last `from` of a file.
    pub(crate) fn swap_last(&mut self, file: &str, from: &str, to: &str) {
        let text = self.text(file);
        let at = text
            .rfind(from)
            .unwrap_or_else(|| panic!("{file} does not hold {from}"));
        let rest = &text[at + from.len()..];
        self.put(file, [&text[..at], to, rest].concat().as_bytes());
    }

    /// Gives a file another name.
    pub(crate) fn rename(&mut self, from: &str, to: &str) {
        let bytes = self.files.remove(from).unwrap();
        self.put(to, &bytes);
    }

    /// Puts a folder where a file is.
    pub(crate) fn folder_instead(&mut self, file: &str) {
        self.remove(file);
        self.folders.push(file.to_owned());
    }

    /// Packs a file and keeps the first `share` of what comes out.
    // a share of a length
    pub(crate) fn pack(&mut self, file: &str, suffix: &str, share: f64) {
        let bytes = self.files.remove(file).unwrap();
        let packed = match suffix {
            ".gz" => {
                let mut packer =
                    flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
                packer.write_all(&bytes).unwrap();
                packer.finish().unwrap()
            }
            _ => zstd::encode_all(bytes.as_slice(), 3).unwrap(),
        };
        let kept = (packed.len() as f64 * share) as usize;
        self.put(&format!("{file}{suffix}"), &packed[..kept]);
    }

    /// Writes all files to `dir`.
    pub(crate) fn write(&self, dir: &Path) {
        fs::create_dir_all(dir.join("out")).unwrap();
        for (name, bytes) in &self.files {
            fs::write(dir.join(name), bytes).unwrap();
        }
        for name in &self.folders {
            fs::create_dir_all(dir.join(name)).unwrap();
        }
    }

    /// Writes all files and reads them; the problems told.
    pub(crate) fn problems(&self, reader: Reader) -> Vec<Problem> {
        let dir = tempfile::tempdir().unwrap();
        self.write(dir.path());
        let dir = dir.path();
        let told = match reader {
            Reader::Run => read_run(dir).err(),
            Reader::RunWarnings => return read_run(dir).unwrap_or_else(|p| panic!("{p}")).warnings,
            Reader::RunElsewhere => read_run(&dir.join("elsewhere")).err(),
            Reader::RunTight => read_run_with(dir, &tight_limits()).err(),
            Reader::Policy => read_policy(&dir.join("policy.toml")).err(),
            Reader::Arm => read_arm(&dir.join("arm.toml")).err(),
            Reader::Truth => read_truth(&dir.join("truth.json"), &read_run(dir).unwrap().run).err(),
            Reader::Trials => read_trials(&dir.join("trials.csv")).err(),
            Reader::Chances => read_order_chances(&dir.join("out")).err(),
            Reader::Output => {
                let (run, arm) = (
                    read_run(dir).unwrap().run,
                    read_arm(&dir.join("arm.toml")).unwrap().value,
                );
                read_output(&dir.join("out"), &run, Some(&arm)).err()
            }
        };
        told.map(|p| p.list).unwrap_or_default()
    }
}
