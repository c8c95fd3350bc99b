//! Documents: files that are read as a whole.

use crate::codes::Code;
use crate::findings::{Finding, Findings, place};
use crate::limits::Limits;
use crate::lines::refused;
use crate::problem::Problems;
use crate::shape::Shape;
use crate::source::{Document, Located};
use crate::tree::{self, Node, Text, Value};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;

/// Version of all files that this program reads and writes.
pub(crate) const VERSION: u32 = 1;

/// How a document is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grammar {
    Json,
    Toml,
}

/// A value that a file held, with the file's name and the SHA-256 of its bytes on disk.
#[derive(Debug, Clone)]
pub struct Loaded<T> {
    /// What the file says.
    pub value: T,
    /// Name of the file without folders, as found on disk.
    pub file_name: String,
    /// SHA-256 of the file's bytes on disk, hexadecimal.
    pub sha256: String,
}

/// Reads a document of type `W` and turns it into `T` by `check`, which adds what makes no sense to the findings.
///
/// # Errors
/// All problems of the file, up to the limit.
pub(crate) fn read_document<W: DeserializeOwned + JsonSchema, T>(
    located: &Located,
    grammar: Grammar,
    limits: &Limits,
    check: impl FnOnce(W, &mut Findings) -> T,
) -> Result<Loaded<T>, Problems> {
    let document = located.document(limits)?;
    let value = parse_document(&document, grammar, limits, check)?;
    Ok(Loaded {
        value,
        file_name: document.name,
        sha256: document.sha256,
    })
}

fn parse_document<W: DeserializeOwned + JsonSchema, T>(
    document: &Document,
    grammar: Grammar,
    limits: &Limits,
    check: impl FnOnce(W, &mut Findings) -> T,
) -> Result<T, Problems> {
    let mut findings = Findings::up_to(limits.problems);
    let tree = match grammar {
        Grammar::Json => tree::parse_json(&document.text, limits.depth, &mut findings),
        Grammar::Toml => tree::parse_toml(&document.text, limits.depth, &mut findings),
    };
    let mut value = None;
    if let Some(tree) = &tree {
        if check_version(tree, &mut findings) {
            check_shape::<W>(tree, &mut findings);
        }
        if findings.is_empty() {
            match typed::<W>(&document.text, grammar) {
                Ok(typed) => value = Some(check(typed, &mut findings)),
                Err(finding) => findings.push(finding),
            }
        }
    }
    match value {
        Some(value) if findings.is_empty() => Ok(value),
        _ => Err(Text {
            text: &document.text,
            first_line: 1,
        }
        .problems(&document.name, tree.as_ref(), findings)),
    }
}

/// Checks the shape; what is wrong with the version is known already.
fn check_shape<W: JsonSchema>(tree: &Node<'_>, out: &mut Findings) {
    let before = out.list.len();
    Shape::of::<W>().check(tree, out);
    if before > 0 {
        let version = place!["version"];
        let known: Vec<Finding> = out.list.drain(..before).collect();
        out.list.retain(|f| f.place != version);
        out.list.splice(0..0, known);
    }
}

fn typed<W: DeserializeOwned>(text: &str, grammar: Grammar) -> Result<W, Finding> {
    match grammar {
        Grammar::Json => serde_json::from_str(text).map_err(|e| refused(&e)),
        Grammar::Toml => toml::from_str(text).map_err(|e| refused(&e.message())),
    }
}

/// Checks the version; `false` where nothing else can be expected to fit.
pub(crate) fn check_version(tree: &Node<'_>, out: &mut Findings) -> bool {
    let Value::Table(_) = tree.value else {
        return true;
    };
    let at = place!["version"];
    let expected = format!("the number {VERSION}");
    let version = tree.member("version").map(|m| &m.node.value);
    let finding = match version {
        None => Finding::new(Code::VersionMissing, at, expected)
            .found("nothing")
            .offset(tree.offset),
        Some(Value::Number {
            whole: Some(whole), ..
        }) if *whole == i128::from(VERSION) => return true,
        Some(Value::Number {
            whole: Some(whole), ..
        }) if *whole > i128::from(VERSION) => {
            out.push(Finding::new(Code::VersionNewer, at, expected));
            return false;
        }
        Some(_) => Finding::new(Code::VersionWrong, at, expected),
    };
    out.push(finding);
    true
}
