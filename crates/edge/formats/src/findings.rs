//! Problems while they are being collected: known by their place in a document, not yet by file and line.

use crate::codes::Code;
use std::fmt;

/// One step into a document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Step {
    /// A field.
    Key(String),
    /// An entry of a list.
    At(usize),
}

impl From<&str> for Step {
    fn from(key: &str) -> Self {
        Step::Key(key.to_owned())
    }
}
impl From<&String> for Step {
    fn from(key: &String) -> Self {
        Step::Key(key.clone())
    }
}
impl From<usize> for Step {
    fn from(at: usize) -> Self {
        Step::At(at)
    }
}

/// A place in a document, from its top.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Place(pub(crate) Vec<Step>);

/// `place!["detections", 3, "box_px"]`; a first part `in OTHER;` goes on from another place.
macro_rules! place {
    (in $base:expr; $($step:expr),* $(,)?) => {{
        #[allow(unused_mut)]
        let mut place = $base.clone();
        $(place.0.push($crate::findings::Step::from($step));)*
        place
    }};
    ($($step:expr),* $(,)?) => { $crate::findings::Place(vec![$($crate::findings::Step::from($step)),*]) };
}
pub(crate) use place;

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (depth, step) in self.0.iter().enumerate() {
            match step {
                Step::At(at) => write!(f, "[{at}]")?,
                Step::Key(key) if is_plain(key) => {
                    write!(f, "{}{key}", if depth == 0 { "" } else { "." })?;
                }
                Step::Key(key) => write!(f, "[{key:?}]")?,
            }
        }
        Ok(())
    }
}

fn is_plain(key: &str) -> bool {
    !key.is_empty()
        && key
            .chars()
            .all(|c| c.is_alphanumeric() || c == '_' || c == '-')
}

/// A problem at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Finding {
    pub(crate) code: Code,
    pub(crate) place: Place,
    /// What was found; `None` = whatever stands at the place.
    pub(crate) found: Option<String>,
    pub(crate) expected: String,
    /// What to do; `None` = as the table of codes says.
    pub(crate) advice: Option<String>,
    /// Byte offset, where it is known better than by the place.
    pub(crate) offset: Option<usize>,
}

impl Finding {
    pub(crate) fn new(code: Code, place: Place, expected: impl Into<String>) -> Self {
        Self {
            code,
            place,
            found: None,
            expected: expected.into(),
            advice: None,
            offset: None,
        }
    }

    pub(crate) fn found(mut self, found: impl Into<String>) -> Self {
        let found = found.into();
        // nothing between quotes says more than nothing at all
        self.found = Some(if found.is_empty() {
            "\"\"".to_owned()
        } else {
            found
        });
        self
    }

    pub(crate) fn advice(mut self, advice: impl Into<String>) -> Self {
        self.advice = Some(advice.into());
        self
    }

    pub(crate) fn offset(mut self, offset: usize) -> Self {
        self.offset = Some(offset);
        self
    }
}

/// Findings of one document, up to a limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Findings {
    pub(crate) list: Vec<Finding>,
    /// Whether there were more than the limit.
    pub(crate) cut_short: bool,
    limit: usize,
}

impl Findings {
    pub(crate) fn up_to(limit: usize) -> Self {
        Self {
            list: Vec::new(),
            cut_short: false,
            limit,
        }
    }

    pub(crate) fn push(&mut self, finding: Finding) {
        if self.list.len() < self.limit {
            self.list.push(finding);
        } else {
            self.cut_short = true;
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Adds `finding()` unless `fine`.
    pub(crate) fn unless(&mut self, fine: bool, finding: impl FnOnce() -> Finding) {
        if !fine {
            self.push(finding());
        }
    }
}
