//! A problem of a file, as told to the user.

use crate::codes::Code;
use std::fmt;

/// One problem: where, what was found, what was expected and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The kind of problem.
    pub code: Code,
    /// The file as found on disk, relative to the folder that was asked for.
    pub file: String,
    /// Line, counted from 1; `None` where the problem is with the file as a whole.
    pub line: Option<u64>,
    /// The field, like `detections[3].box_px`; empty where none is at fault.
    pub field: String,
    /// What stands there.
    pub found: String,
    /// What should.
    pub expected: String,
    /// What to do about it.
    pub what_to_do: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "[{}] {}", self.code.id(), self.file)?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        if !self.field.is_empty() {
            write!(f, ", {}", self.field)?;
        }
        write!(
            f,
            ": found {}, expected {}. {}",
            self.found, self.expected, self.what_to_do
        )
    }
}

/// All problems that stop a reader, by file and line. Never empty as an error.
#[derive(Debug, Clone, PartialEq, Eq, Default, thiserror::Error)]
pub struct Problems {
    /// The problems, at most a limit for each file.
    pub list: Vec<Problem>,
    /// Files that have more problems than are listed.
    pub cut_short: Vec<String>,
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, problem) in self.list.iter().enumerate() {
            if at > 0 {
                writeln!(f)?;
            }
            write!(f, "{problem}")?;
        }
        for file in &self.cut_short {
            write!(f, "\n{file} has further problems that are not listed.")?;
        }
        Ok(())
    }
}

impl Problems {
    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Appends another file's.
    pub(crate) fn join(&mut self, other: Problems) {
        self.list.extend(other.list);
        self.cut_short.extend(other.cut_short);
    }

    /// Those of one file in the order of its lines, at most `limit` of them.
    pub(crate) fn in_order(mut self, file: &str, limit: usize) -> Self {
        self.list.sort_by_key(|p| p.line); // stable: problems of a line keep their order
        if self.list.len() > limit {
            self.list.truncate(limit);
            self.cut_short = vec![file.to_owned()];
        }
        self
    }

    /// The value, where there is no problem.
    ///
    /// # Errors
    /// These problems, where there is one.
    pub(crate) fn or_else<T>(self, value: T) -> Result<T, Problems> {
        if self.is_empty() {
            Ok(value)
        } else {
            Err(self)
        }
    }
}

impl From<Box<Problem>> for Problems {
    fn from(problem: Box<Problem>) -> Self {
        Self {
            list: vec![*problem],
            cut_short: Vec::new(),
        }
    }
}
