//! Files that appear whole or not at all.
//!
//! Every file is first written beside its place under a name that ends in `.partial` and brought safely to the disk. Only
//! when all of them are complete is the folder changed: what an earlier run left is removed, then the new files are
//! renamed, the summary last. Whenever the program is stopped, the folder holds no half file and never files of two
//! runs; a folder without `summary.json` was not finished.

use crate::source::Packing;
use crate::write::error::WriteError;
use crate::write::layout::Layout;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Names of the files that an output folder can hold, the one renamed last at the end.
pub(crate) const OUTPUT_FILES: [&str; 7] = [
    "map.json",
    "decisions.json",
    "orders.jsonl",
    "refusals.jsonl",
    "calibration.json",
    "diagnostics.json",
    "summary.json",
];

/// What every JSON file of an output folder begins with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Header {
    /// Version of the program.
    pub tool_version: String,
    /// Input file name -> SHA-256 of its bytes, hexadecimal.
    pub inputs: BTreeMap<String, String>,
}

/// Files on their way into a folder. Dropped before [`Publication::publish`], it leaves the folder as it was.
#[derive(Debug)]
pub struct Publication {
    dir: PathBuf,
    /// Names of complete files that wait under their partial names.
    waiting: Vec<String>,
    /// Names of files to be removed when these are published.
    owned: Vec<String>,
}

fn disk(path: &Path, doing: &'static str) -> impl FnOnce(io::Error) -> WriteError {
    let path = path.to_owned();
    move |source| WriteError::Disk {
        path,
        doing,
        source,
    }
}

fn partial(dir: &Path, name: &str) -> PathBuf {
    dir.join(format!("{name}.partial"))
}

impl Publication {
    /// Begins the output folder of a run: all files that such a folder can hold are renewed or removed together.
    ///
    /// # Errors
    /// The folder cannot be made.
    pub fn output_folder(dir: &Path) -> Result<Self, WriteError> {
        Self::begin(dir, OUTPUT_FILES.iter().map(ToString::to_string).collect())
    }

    /// Begins files in a folder of any kind; those of `owned` that an earlier time left and that are not written this
    /// time are removed at the end, whatever else lies there stays.
    ///
    /// # Errors
    /// The folder cannot be made.
    pub fn folder(dir: &Path, owned: &[&str]) -> Result<Self, WriteError> {
        Self::begin(dir, owned.iter().map(ToString::to_string).collect())
    }

    /// Begins files of a folder; those of `owned` that are not written this time are removed at the end.
    pub(crate) fn begin(dir: &Path, owned: Vec<String>) -> Result<Self, WriteError> {
        fs::create_dir_all(dir).map_err(disk(dir, "make the folder"))?;
        for name in &owned {
            remove(&partial(dir, name))?; // what a run that was stopped left behind
        }
        Ok(Self {
            dir: dir.to_owned(),
            waiting: Vec::new(),
            owned,
        })
    }

    /// Writes one file alone: `write` receives its name.
    pub(crate) fn single(
        path: &Path,
        write: impl FnOnce(&mut Self, &str) -> Result<(), WriteError>,
    ) -> Result<(), WriteError> {
        let dir = path
            .parent()
            .filter(|dir| !dir.as_os_str().is_empty())
            .unwrap_or(Path::new("."));
        let name = path
            .file_name()
            .map(|n| n.to_string_lossy().into_owned())
            .unwrap_or_default();
        let mut publication = Self::begin(dir, Vec::new())?;
        write(&mut publication, &name)?;
        publication.publish()
    }

    /// Writes a file beside its place. `name` may hold folders (`pictures/a.svg`), which are made at once.
    ///
    /// # Errors
    /// The disk, or what `write` returns.
    pub fn file(
        &mut self,
        name: &str,
        write: impl FnOnce(&mut dyn Write) -> Result<(), WriteError>,
    ) -> Result<(), WriteError> {
        let path = partial(&self.dir, name);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent).map_err(disk(parent, "make the folder"))?;
        }
        if !self.waiting.iter().any(|n| n == name) {
            self.waiting.push(name.to_owned()); // at once, so that a failure below removes the partial file too
        }
        let file = File::create(&path).map_err(disk(&path, "write"))?;
        let mut buffered = BufWriter::with_capacity(1 << 16, file);
        write(&mut buffered)?;
        let file = buffered
            .into_inner()
            .map_err(|e| disk(&path, "write")(e.into_error()))?;
        file.sync_all().map_err(disk(&path, "write"))
    }

    /// Writes text or bytes that are already made.
    ///
    /// # Errors
    /// The disk.
    pub fn bytes(&mut self, name: &str, bytes: &[u8]) -> Result<(), WriteError> {
        let path = self.dir.join(name);
        self.file(name, |out| {
            out.write_all(bytes).map_err(disk(&path, "write"))
        })
    }

    /// Writes a JSON document, one field and one entry of a list a line.
    ///
    /// # Errors
    /// A value that JSON cannot hold, or the disk.
    pub fn json(&mut self, name: &str, value: &impl Serialize) -> Result<(), WriteError> {
        self.packed(name, |out| {
            value
                .serialize(&mut serde_json::Serializer::with_formatter(
                    &mut *out,
                    Layout::default(),
                ))
                .map_err(|source| WriteError::Value {
                    file: name.to_owned(),
                    source,
                })?;
            out.write_all(b"\n").map_err(disk(Path::new(name), "write"))
        })
    }

    /// Writes a TOML document.
    pub(crate) fn toml(&mut self, name: &str, value: &impl Serialize) -> Result<(), WriteError> {
        let failed = |source| WriteError::Toml {
            file: name.to_owned(),
            source,
        };
        let text = toml::to_string(value).map_err(failed)?;
        self.bytes(name, text.as_bytes())
    }

    /// Writes one JSON value a line.
    pub(crate) fn json_lines<T: Serialize>(
        &mut self,
        name: &str,
        values: impl Iterator<Item = Result<T, WriteError>>,
    ) -> Result<(), WriteError> {
        self.packed(name, |out| {
            for value in values {
                serde_json::to_writer(&mut *out, &value?).map_err(|source| WriteError::Value {
                    file: name.to_owned(),
                    source,
                })?;
                out.write_all(b"\n")
                    .map_err(disk(Path::new(name), "write"))?;
            }
            Ok(())
        })
    }

    /// Like [`Publication::file`], packed as the end of the name says.
    fn packed(
        &mut self,
        name: &str,
        write: impl FnOnce(&mut dyn Write) -> Result<(), WriteError>,
    ) -> Result<(), WriteError> {
        let failed = |e| disk(Path::new(name), "pack")(e);
        match Packing::of(Path::new(name)) {
            Packing::Plain => self.file(name, write),
            Packing::Gzip => self.file(name, |out| {
                // no time and no name in the header: the same content gives the same bytes
                let mut packer =
                    flate2::GzBuilder::new().write(out, flate2::Compression::default());
                write(&mut packer)?;
                packer.finish().map(drop).map_err(failed)
            }),
            Packing::Zstd => self.file(name, |out| {
                let mut packer =
                    zstd::Encoder::new(out, zstd::DEFAULT_COMPRESSION_LEVEL).map_err(failed)?;
                write(&mut packer)?;
                packer.finish().map(drop).map_err(failed)
            }),
        }
    }

    /// Brings all files to their places.
    ///
    /// # Errors
    /// The disk.
    pub fn publish(mut self) -> Result<(), WriteError> {
        let mut names = std::mem::take(&mut self.waiting);
        names.sort_by_key(|name| Some(name.as_str()) == OUTPUT_FILES.last().copied()); // stable: the summary goes last
        let result = self.swap(&names);
        if result.is_err() {
            self.waiting = names; // what still waits is removed when `self` is dropped
        }
        result
    }

    fn swap(&self, names: &[String]) -> Result<(), WriteError> {
        // the summary goes first, so that a folder that has one is complete
        for name in self.owned.iter().rev().chain(names) {
            remove(&self.dir.join(name))?;
        }
        for name in names {
            let place = self.dir.join(name);
            fs::rename(partial(&self.dir, name), &place).map_err(disk(&place, "rename"))?;
        }
        sync_folder(&self.dir)
    }
}

impl Drop for Publication {
    fn drop(&mut self) {
        for name in &self.waiting {
            let _ = fs::remove_file(partial(&self.dir, name)); // nothing better can be done here
        }
    }
}

fn remove(path: &Path) -> Result<(), WriteError> {
    match fs::remove_file(path) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(disk(path, "remove")(e)),
        _ => Ok(()),
    }
}

/// Renames are safe on the disk only once their folder is; elsewhere than on Unix a folder cannot be opened for that.
fn sync_folder(dir: &Path) -> Result<(), WriteError> {
    if cfg!(unix) {
        File::open(dir)
            .and_then(|f| f.sync_all())
            .map_err(disk(dir, "write"))?;
    }
    Ok(())
}
