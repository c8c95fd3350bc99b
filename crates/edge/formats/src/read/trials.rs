//! Tables of field trials (`.csv`): a header of column names in any order, one trial a line.

use crate::codes::Code;
use crate::findings::{Finding, Place, place};
use crate::limits::Limits;
use crate::problem::{Problem, Problems};
use crate::read::checks::suggest;
use crate::read::document::Loaded;
use crate::source::{Document, at_path, file_problem};
use crate::tree::shorten;
use corymb_model::trials::Trial;
use csv::StringRecord;
use std::collections::HashMap;
use std::path::Path;

/// Columns that must be there.
const NEEDED: [&str; 6] = ["order", "reached", "enclosed", "cut", "damage", "seconds"];

/// Columns that may be there.
const OPTIONAL: [&str; 2] = ["cause", "tool"];

/// Reads a table of field trials.
///
/// Cells are trimmed of blanks. An observation is yes, 1 or true, no, 0 or false, whatever the case; an empty cell is
/// not observed. Columns that begin with `x_` are passed over.
///
/// # Errors
/// All problems of the header, or else all problems of the lines, up to a limit. A trial that contradicts itself is a
/// problem: what is enclosed was reached, what is cut was reached and enclosed.
pub fn read_trials(path: &Path) -> Result<Loaded<Vec<Trial>>, Problems> {
    let limits = Limits::default();
    let document = at_path(path)?.document(&limits)?;
    if document.text.starts_with('\u{feff}') {
        let [found, expected] = ["a byte order mark", "the name of the first column"];
        return Err(file_problem(Code::ByteOrderMark, &document.name, found, expected).into());
    }
    let value = Table::new(&document, &limits)?.trials()?;
    Ok(Loaded {
        value,
        file_name: document.name,
        sha256: document.sha256,
    })
}

/// A table with a sound header.
struct Table<'d> {
    document: &'d Document,
    limits: &'d Limits,
    /// Column name -> its place.
    columns: HashMap<String, usize>, // only asked, never walked
    width: usize,
    records: csv::StringRecordsIntoIter<&'d [u8]>,
}

impl<'d> Table<'d> {
    fn new(document: &'d Document, limits: &'d Limits) -> Result<Self, Problems> {
        let mut reader = csv::ReaderBuilder::new()
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(document.text.as_bytes());
        let header = reader
            .headers()
            .map_err(|e| unreadable(document, &e))?
            .clone();
        let line = line_of(&document.text, 0);
        let findings = header_findings(&header);
        let told = findings
            .into_iter()
            .map(|f| told(&document.name, line, f, "nothing"));
        let problems = Problems {
            list: told.collect(),
            cut_short: Vec::new(),
        };
        let named = header.iter().enumerate();
        problems
            .in_order(&document.name, limits.problems)
            .or_else(Self {
                document,
                limits,
                columns: named.map(|(at, name)| (name.to_owned(), at)).collect(),
                width: header.len(),
                records: reader.into_records(),
            })
    }

    fn trials(mut self) -> Result<Vec<Trial>, Problems> {
        let mut trials = Vec::new();
        let mut problems = Problems::default();
        let mut lines: HashMap<String, u64> = HashMap::new(); // only asked, never walked
        while let Some(record) = self.records.next() {
            let record = record.map_err(|e| unreadable(self.document, &e))?;
            if trials.len() >= self.limits.records || problems.list.len() > self.limits.problems {
                break;
            }
            let byte = record
                .position()
                .map_or(0, |p| usize::try_from(p.byte()).unwrap_or(usize::MAX));
            let mut findings = Vec::new();
            let trial = self.trial(&record, &mut findings);
            if let Some(&earlier) = lines.get(&trial.order).filter(|_| !trial.order.is_empty()) {
                let line = line_of(&self.document.text, earlier as usize);
                let expected = format!("an id that line {line} does not have");
                findings.push(Finding::new(Code::IdTwice, place!["order"], expected));
            } else {
                lines.insert(trial.order.clone(), byte as u64);
            }
            if !findings.is_empty() {
                let line = line_of(&self.document.text, byte);
                let of = |f: Finding| {
                    let cell = f.place.to_string();
                    told(&self.document.name, line, f, self.cell(&record, &cell))
                };
                problems.list.extend(findings.into_iter().map(of));
            }
            trials.push(trial);
        }
        if trials.is_empty() {
            let [found, expected] = ["a header and no trial", "at least one trial"];
            return Err(file_problem(Code::FileEmpty, &self.document.name, found, expected).into());
        }
        if self.records.next().is_some() && problems.is_empty() {
            let [found, expected] =
                ["more than", "at most"].map(|w| format!("{w} {} lines", self.limits.records));
            let name = &self.document.name;
            return Err(file_problem(Code::TooManyRecords, name, found, expected).into());
        }
        problems
            .in_order(&self.document.name, self.limits.problems)
            .or_else(trials)
    }

    fn cell<'r>(&self, record: &'r StringRecord, column: &str) -> &'r str {
        let at = self.columns.get(column);
        at.and_then(|&at| record.get(at)).unwrap_or_default()
    }

    fn trial(&self, record: &StringRecord, out: &mut Vec<Finding>) -> Trial {
        if record.len() != self.width {
            let expected = format!("{} cells, as in the header", self.width);
            let finding = Finding::new(Code::LengthWrong, Place::default(), expected);
            out.push(finding.found(format!("{} cells", record.len())));
            return Trial {
                order: self.cell(record, "order").to_owned(),
                ..Trial::default()
            };
        }
        let mut seen = |column: &str| observed(self.cell(record, column), column, out);
        let trial = Trial {
            order: self.cell(record, "order").to_owned(),
            reached: seen("reached"),
            enclosed: seen("enclosed"),
            cut: seen("cut"),
            damage: seen("damage"),
            seconds: seconds(self.cell(record, "seconds"), out),
            cause: text(self.cell(record, "cause"), "cause", out),
            tool: text(self.cell(record, "tool"), "tool", out),
        };
        if text(&trial.order, "order", out).is_none() {
            out.push(Finding::new(
                Code::TextEmpty,
                place!["order"],
                "the id of an order",
            ));
        }
        contradictions(&trial, out);
        trial
    }
}

fn header_findings(header: &StringRecord) -> Vec<Finding> {
    let known = || NEEDED.into_iter().chain(OPTIONAL);
    let mut findings = Vec::new();
    for (at, name) in header.iter().enumerate() {
        if header.iter().take(at).any(|earlier| earlier == name) {
            let finding = Finding::new(Code::KeyTwice, place![name], "each column once");
            findings.push(finding.found(format!("a second column `{name}`")));
        } else if !name.starts_with("x_") && !known().any(|k| k == name) {
            let expected = format!("one of {}", known().collect::<Vec<_>>().join(", "));
            let finding = Finding::new(Code::FieldUnknown, place![name], expected);
            findings.push(suggest(finding.found(shorten(name)), name, known()));
        }
    }
    for name in NEEDED {
        if !header.iter().any(|h| h == name) {
            findings.push(Finding::new(
                Code::FieldMissing,
                place![name],
                "the column in the header",
            ));
        }
    }
    findings
}

fn observed(cell: &str, column: &str, out: &mut Vec<Finding>) -> Option<bool> {
    match cell.to_ascii_lowercase().as_str() {
        "yes" | "1" | "true" => Some(true),
        "no" | "0" | "false" => Some(false),
        "" => None,
        _ => {
            let expected = "yes, no, 1, 0, true, false, or an empty cell where it was not observed";
            out.push(Finding::new(Code::ValueUnknown, place![column], expected));
            None
        }
    }
}

fn seconds(cell: &str, out: &mut Vec<Finding>) -> Option<f64> {
    if cell.is_empty() {
        return None;
    }
    let code = match cell.parse::<f64>() {
        Err(_) => Code::TypeWrong,
        Ok(s) if !s.is_finite() => Code::NumberNotFinite,
        Ok(s) if s < 0.0 => Code::Negative,
        Ok(s) => return Some(s),
    };
    let expected = "a number of seconds, zero or more, or an empty cell";
    out.push(Finding::new(code, place!["seconds"], expected));
    None
}

/// Words of one line. A line break inside means that a quote was not closed, and the trials behind it would be lost.
fn text(cell: &str, column: &str, out: &mut Vec<Finding>) -> Option<String> {
    if cell.contains(['\n', '\r']) {
        let expected = "text on one line; a quote that is opened is closed";
        out.push(Finding::new(Code::TypeWrong, place![column], expected));
    }
    (!cell.is_empty()).then(|| cell.to_owned())
}

fn contradictions(trial: &Trial, out: &mut Vec<Finding>) {
    let (yes, no) = (Some(true), Some(false));
    let mut against = |column: &str, earlier: &str| {
        let finding = Finding::new(
            Code::TrialContradicts,
            place![column],
            format!("{column} no or empty, or {earlier} not no"),
        );
        out.push(finding.found(format!("{column} yes with {earlier} no")));
    };
    if trial.enclosed == yes && trial.reached == no {
        against("enclosed", "reached");
    }
    if trial.cut == yes && trial.enclosed == no {
        against("cut", "enclosed");
    } else if trial.cut == yes && trial.reached == no && trial.enclosed.is_none() {
        against("cut", "reached");
    }
}

fn told(file: &str, line: u64, finding: Finding, cell: &str) -> Problem {
    Problem {
        code: finding.code,
        file: file.to_owned(),
        line: Some(line),
        field: finding.place.to_string(),
        found: finding.found.unwrap_or_else(|| shorten(cell)),
        expected: finding.expected,
        what_to_do: finding
            .advice
            .unwrap_or_else(|| finding.code.entry().action.to_owned()),
    }
}

/// The line of the record that begins at or behind `byte`: blank lines before it are passed over.
fn line_of(text: &str, byte: usize) -> u64 {
    let bytes = text.as_bytes();
    let behind = bytes.get(byte..).unwrap_or_default();
    let blank = behind
        .iter()
        .take_while(|b| matches!(b, b'\n' | b'\r'))
        .count();
    let before = bytes.get(..byte + blank).unwrap_or(bytes);
    1 + memchr::memchr_iter(b'\n', before).count() as u64
}

/// What the parser refuses though all checked text should pass; its own words are the best there are.
fn unreadable(document: &Document, error: &csv::Error) -> Box<Problem> {
    file_problem(
        Code::FileUnreadable,
        &document.name,
        error.to_string(),
        "a table of comma-separated values",
    )
}
