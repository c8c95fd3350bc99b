//! `.jsonl` files: read in pieces, the lines of a piece parsed in parallel, their order kept.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place};
use crate::limits::Limits;
use crate::problem::{Problem, Problems};
use crate::shape::Shape;
use crate::source::{Located, Source, empty, file_problem, not_utf8, too_large};
use crate::tree::{self, Text};
use rayon::prelude::*;
use serde::Deserialize;
use std::io::{self, Read};
use std::ops::Range;

/// Bytes read before their lines are parsed: some hundred images, so that threads have enough to do and memory stays small.
const PIECE_BYTES: usize = 4 << 20;

/// What reading a file of lines came to.
pub(crate) struct Ending {
    /// SHA-256 of the file's bytes on disk.
    pub(crate) sha256: String,
    /// Problems of single lines.
    pub(crate) problems: Problems,
}

/// Reads all lines: `parse` makes a record of a line's number and bytes, `take` receives the records in the order of
/// the file. Blank lines are passed over. Problems of lines are collected up to the limit, where reading stops.
///
/// # Errors
/// A problem of the file as a whole: it cannot be read on, is empty, or exceeds a limit; or what `take` returns.
pub(crate) fn read_lines<T: Send>(
    located: &Located,
    limits: &Limits,
    parse: impl Fn(u64, &[u8]) -> Result<T, Problems> + Sync,
    mut take: impl FnMut(u64, T) -> Result<(), Box<Problem>>,
) -> Result<Ending, Box<Problem>> {
    let mut pieces = Pieces::new(located.open()?, limits);
    let mut problems = Problems::default();
    let mut count = 0;
    while let Some(piece) = pieces.next_piece()? {
        count += piece.len();
        if count > limits.records {
            let [found, expected] =
                ["more than", "at most"].map(|w| format!("{w} {} lines", limits.records));
            return Err(file_problem(
                Code::TooManyRecords,
                &located.name,
                found,
                expected,
            ));
        }
        let line = |(no, range): (u64, Range<usize>)| (no, parse(no, pieces.bytes(range)));
        let parsed: Vec<_> = piece.into_par_iter().map(line).collect();
        for (no, record) in parsed {
            match record {
                Ok(record) => take(no, record)?,
                Err(more) => problems.join(more),
            }
        }
        if problems.list.len() >= limits.problems {
            problems.list.truncate(limits.problems);
            problems.cut_short = vec![located.name.clone()];
            break;
        }
    }
    if count == 0 {
        return Err(empty(&located.name));
    }
    Ok(Ending {
        sha256: pieces.source.finish()?,
        problems,
    })
}

/// Lines by number and place in the buffer.
type Piece = Vec<(u64, Range<usize>)>;

/// Cuts a file into pieces of whole lines.
struct Pieces<'l> {
    source: Source,
    limits: &'l Limits,
    buffer: Vec<u8>,
    /// Bytes at the start of the buffer that earlier pieces used up.
    used: usize,
    next_line: u64,
    bytes_read: u64,
    at_end: bool,
}

impl<'l> Pieces<'l> {
    fn new(source: Source, limits: &'l Limits) -> Self {
        Self {
            source,
            limits,
            buffer: Vec::new(),
            used: 0,
            next_line: 1,
            bytes_read: 0,
            at_end: false,
        }
    }

    fn bytes(&self, range: Range<usize>) -> &[u8] {
        self.buffer.get(range).unwrap_or_default()
    }

    /// The next lines: number and place in the buffer, without line ends; `None` at the end of the file.
    fn next_piece(&mut self) -> Result<Option<Piece>, Box<Problem>> {
        self.buffer.drain(..self.used);
        self.used = 0;
        let mut whole = memchr::memrchr(b'\n', &self.buffer).map_or(0, |at| at + 1);
        while !self.at_end && (self.buffer.len() < PIECE_BYTES || whole == 0) {
            let before = self.buffer.len();
            self.fill()?;
            if let Some(at) = memchr::memrchr(b'\n', self.bytes(before..self.buffer.len())) {
                whole = before + at + 1;
            }
            if self.buffer.len() - whole > self.limits.line_bytes {
                let earlier = memchr::memchr_iter(b'\n', self.bytes(0..whole)).count() as u64;
                return Err(self.line_too_long(self.next_line + earlier));
            }
        }
        if self.at_end {
            whole = self.buffer.len();
        }
        self.used = whole;
        if whole == 0 {
            Ok(None)
        } else {
            self.cut(whole).map(Some)
        }
    }

    fn fill(&mut self) -> Result<(), Box<Problem>> {
        const READ_BYTES: u64 = 1 << 18;
        let count = (&mut self.source)
            .take(READ_BYTES)
            .read_to_end(&mut self.buffer);
        let count = count.map_err(|e: io::Error| self.source.problem(&e))?;
        self.at_end = count == 0;
        self.bytes_read += count as u64;
        if self.bytes_read > self.limits.lines_bytes {
            return Err(too_large(&self.source.name, self.limits.lines_bytes));
        }
        Ok(())
    }

    fn cut(&mut self, whole: usize) -> Result<Piece, Box<Problem>> {
        let mut lines = Vec::new();
        let mut start = 0;
        while start < whole {
            let length = memchr::memchr(b'\n', self.bytes(start..whole)).unwrap_or(whole - start);
            if length > self.limits.line_bytes {
                return Err(self.line_too_long(self.next_line));
            }
            if !self.bytes(start..start + length).trim_ascii().is_empty() {
                lines.push((self.next_line, start..start + length));
            }
            self.next_line += 1;
            start += length + 1;
        }
        Ok(lines)
    }

    fn line_too_long(&self, line: u64) -> Box<Problem> {
        let limit = self.limits.line_bytes;
        let [found, expected] =
            ["a line of more than", "at most"].map(|w| format!("{w} {limit} bytes"));
        let mut problem = file_problem(Code::LineTooLong, &self.source.name, found, expected);
        problem.line = Some(line);
        problem
    }
}

/// A line that the quick way refused, looked at closely: every problem that it has.
///
/// `check` is the check of the typed line, given where the shape is right.
pub(crate) fn diagnose<'b, W: Deserialize<'b>>(
    &(file, line, bytes): &(&str, u64, &'b [u8]),
    shape: &Shape,
    limits: &Limits,
    check: impl FnOnce(W, &mut Findings),
) -> Problems {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => return not_utf8(file, bytes, error, line).into(),
    };
    let mut findings = Findings::up_to(limits.problems);
    let tree = tree::parse_json(text, limits.depth, &mut findings);
    if let Some(tree) = &tree {
        shape.check(tree, &mut findings);
    }
    if findings.is_empty() {
        match serde_json::from_str::<W>(text) {
            Ok(typed) => check(typed, &mut findings),
            Err(error) => findings.push(refused(&error)),
        }
    }
    Text {
        text,
        first_line: line,
    }
    .problems(file, tree.as_ref(), findings)
}

/// A value that fits its shape and is refused all the same; the reader's own words are the best there are.
pub(crate) fn refused(error: &dyn std::fmt::Display) -> Finding {
    Finding::new(Code::TypeWrong, Place::default(), error.to_string())
}
