//! Files on disk: plain, gzip or zstd, with the SHA-256 of their bytes.

use crate::codes::Code;
use crate::limits::Limits;
use crate::problem::Problem;
use crate::tree::shorten;
use flate2::bufread::MultiGzDecoder;
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

/// How a file is packed, by the end of its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Packing {
    /// Not at all.
    #[default]
    Plain,
    /// `.gz`
    Gzip,
    /// `.zst`
    Zstd,
}

impl Packing {
    pub(crate) const ALL: [Packing; 3] = [Packing::Plain, Packing::Gzip, Packing::Zstd];

    pub(crate) fn of(path: &Path) -> Self {
        match path.extension().and_then(|e| e.to_str()) {
            Some("gz") => Packing::Gzip,
            Some("zst") => Packing::Zstd,
            _ => Packing::Plain,
        }
    }

    pub(crate) fn suffix(self) -> &'static str {
        match self {
            Packing::Plain => "",
            Packing::Gzip => ".gz",
            Packing::Zstd => ".zst",
        }
    }

    fn damaged(self) -> Code {
        match self {
            Packing::Plain => Code::FileUnreadable,
            Packing::Gzip => Code::GzipDamaged,
            Packing::Zstd => Code::ZstdDamaged,
        }
    }
}

/// A problem of a file as a whole.
pub(crate) fn file_problem(
    code: Code,
    file: &str,
    found: impl Into<String>,
    expected: impl Into<String>,
) -> Box<Problem> {
    Box::new(Problem {
        code,
        file: file.to_owned(),
        line: None,
        field: String::new(),
        found: found.into(),
        expected: expected.into(),
        what_to_do: code.entry().action.to_owned(),
    })
}

/// A file that is there.
#[derive(Debug, Clone)]
pub(crate) struct Located {
    path: PathBuf,
    /// Its name without folders, as found on disk.
    pub(crate) name: String,
    packing: Packing,
}

/// Checks that `dir` is a folder.
pub(crate) fn require_folder(dir: &Path) -> Result<(), Box<Problem>> {
    if dir.is_dir() {
        return Ok(());
    }
    let found = if dir.exists() { "a file" } else { "nothing" };
    Err(file_problem(
        Code::FolderMissing,
        &dir.display().to_string(),
        found,
        "a folder",
    ))
}

/// Finds `stem` in `dir` in whichever packing; `None` where it is absent. Two packings side by side are a problem.
pub(crate) fn locate(dir: &Path, stem: &str) -> Result<Option<Located>, Box<Problem>> {
    let mut there = Packing::ALL
        .into_iter()
        .map(|packing| (packing, format!("{stem}{}", packing.suffix())))
        .filter(|(_, name)| dir.join(name).exists());
    let Some((packing, name)) = there.next() else {
        return Ok(None);
    };
    if let Some((_, other)) = there.next() {
        return Err(file_problem(
            Code::FileTwice,
            &name,
            format!("{name} and {other}"),
            "one of them",
        ));
    }
    Ok(Some(Located {
        path: dir.join(&name),
        name,
        packing,
    }))
}

/// Like [`locate`], where the file is needed.
pub(crate) fn locate_needed(dir: &Path, stem: &str) -> Result<Located, Box<Problem>> {
    locate(dir, stem)?.ok_or_else(|| file_problem(Code::FileMissing, stem, "nothing", "the file"))
}

/// The file at exactly this path.
pub(crate) fn at_path(path: &Path) -> Result<Located, Box<Problem>> {
    let name = path.file_name().map_or_else(
        || path.display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    );
    if !path.exists() {
        let shown = path.display().to_string();
        return Err(file_problem(
            Code::FileMissing,
            &shown,
            "nothing",
            "the file",
        ));
    }
    Ok(Located {
        path: path.to_owned(),
        name,
        packing: Packing::of(path),
    })
}

/// A document in memory.
#[derive(Debug)]
pub(crate) struct Document {
    pub(crate) name: String,
    pub(crate) text: String,
    /// SHA-256 of the bytes on disk, hexadecimal.
    pub(crate) sha256: String,
}

impl Located {
    pub(crate) fn open(&self) -> Result<Source, Box<Problem>> {
        let unreadable = |e: &io::Error| {
            file_problem(
                Code::FileUnreadable,
                &self.name,
                e.to_string(),
                "a readable file",
            )
        };
        if self.path.is_dir() {
            return Err(file_problem(
                Code::FileUnreadable,
                &self.name,
                "a folder",
                "a file",
            ));
        }
        let file = File::open(&self.path).map_err(|e| unreadable(&e))?;
        let hashed = BufReader::with_capacity(
            1 << 16,
            Hashed {
                file,
                digest: Sha256::new(),
                failed: false,
            },
        );
        let stream = match self.packing {
            Packing::Plain => Stream::Plain(hashed),
            Packing::Gzip => Stream::Gzip(Box::new(MultiGzDecoder::new(hashed))),
            Packing::Zstd => {
                Stream::Zstd(zstd::Decoder::with_buffer(hashed).map_err(|e| unreadable(&e))?)
            }
        };
        Ok(Source {
            name: self.name.clone(),
            packing: self.packing,
            stream,
        })
    }

    /// Reads the whole file as text.
    pub(crate) fn document(&self, limits: &Limits) -> Result<Document, Box<Problem>> {
        let mut source = self.open()?;
        let mut bytes = Vec::new();
        let limit = limits.document_bytes;
        (&mut source)
            .take(limit + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| source.problem(&e))?;
        if bytes.len() as u64 > limit {
            return Err(too_large(&self.name, limit));
        }
        let sha256 = source.finish()?;
        let text = String::from_utf8(bytes)
            .map_err(|e| not_utf8(&self.name, e.as_bytes(), e.utf8_error(), 1))?;
        if text.trim().is_empty() {
            return Err(empty(&self.name));
        }
        Ok(Document {
            name: self.name.clone(),
            text,
            sha256,
        })
    }
}

pub(crate) fn too_large(name: &str, limit: u64) -> Box<Problem> {
    file_problem(
        Code::FileTooLarge,
        name,
        format!("more than {limit} bytes"),
        format!("at most {limit} bytes unpacked"),
    )
}

pub(crate) fn empty(name: &str) -> Box<Problem> {
    file_problem(
        Code::FileEmpty,
        name,
        "nothing in it",
        "at least one record",
    )
}

pub(crate) fn not_utf8(
    name: &str,
    bytes: &[u8],
    error: std::str::Utf8Error,
    first_line: u64,
) -> Box<Problem> {
    let good = bytes.get(..error.valid_up_to()).unwrap_or_default();
    let bad = bytes.get(error.valid_up_to()).copied().unwrap_or_default();
    let line_start = memchr::memrchr(b'\n', good).map_or(0, |at| at + 1);
    let before = String::from_utf8_lossy(good.get(line_start..).unwrap_or_default());
    let tail: String = before
        .chars()
        .rev()
        .take(20)
        .collect::<Vec<_>>()
        .into_iter()
        .rev()
        .collect();
    let mut problem = file_problem(
        Code::NotUtf8,
        name,
        format!("byte {bad:#04x} after {}", shorten(&tail)),
        "UTF-8 text",
    );
    problem.line = Some(first_line + memchr::memchr_iter(b'\n', good).count() as u64);
    problem
}

/// A file being read, unpacked on the way.
pub(crate) struct Source {
    pub(crate) name: String,
    packing: Packing,
    stream: Stream,
}

enum Stream {
    Plain(BufReader<Hashed>),
    Gzip(Box<MultiGzDecoder<BufReader<Hashed>>>),
    Zstd(zstd::Decoder<'static, BufReader<Hashed>>),
}

/// Hashes all that is read from the file.
struct Hashed {
    file: File,
    digest: Sha256,
    /// Whether the file itself (not its content) failed.
    failed: bool,
}

impl Read for Hashed {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self.file.read(buffer) {
            Ok(count) => {
                self.digest.update(buffer.get(..count).unwrap_or_default());
                Ok(count)
            }
            Err(error) => {
                self.failed |= error.kind() != io::ErrorKind::Interrupted;
                Err(error)
            }
        }
    }
}

impl Read for Source {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match &mut self.stream {
            Stream::Plain(stream) => stream.read(buffer),
            Stream::Gzip(stream) => stream.read(buffer),
            Stream::Zstd(stream) => stream.read(buffer),
        }
    }
}

impl Source {
    /// A reading error as a problem: of the packing, or of the disk.
    pub(crate) fn problem(&self, error: &io::Error) -> Box<Problem> {
        let hashed = match &self.stream {
            Stream::Plain(stream) => stream.get_ref(),
            Stream::Gzip(stream) => stream.get_ref().get_ref(),
            Stream::Zstd(stream) => stream.get_ref().get_ref(),
        };
        let code = if hashed.failed {
            Code::FileUnreadable
        } else {
            self.packing.damaged()
        };
        let expected = match code {
            Code::GzipDamaged => "a complete gzip file",
            Code::ZstdDamaged => "a complete zstd file",
            _ => "a readable file",
        };
        file_problem(code, &self.name, error.to_string(), expected)
    }

    /// Reads what is left of the file and returns the SHA-256 of its bytes on disk.
    pub(crate) fn finish(self) -> Result<String, Box<Problem>> {
        let mut rest = match self.stream {
            Stream::Plain(stream) => stream,
            Stream::Gzip(stream) => stream.into_inner(),
            Stream::Zstd(stream) => stream.finish(),
        };
        io::copy(&mut rest, &mut io::sink()).map_err(|e| {
            file_problem(
                Code::FileUnreadable,
                &self.name,
                e.to_string(),
                "a readable file",
            )
        })?;
        Ok(hex(&rest.into_inner().digest.finalize()))
    }
}

/// Bytes in hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes
        .iter()
        .fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
            let _ = write!(text, "{byte:02x}"); // writing to a String cannot fail
            text
        })
}
