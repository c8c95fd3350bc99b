//! TOML files of any type: settings of other crates, with problems told as well as those of our own files.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, Step};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::suggest;
use crate::read::document::{Grammar, Loaded, check_version, read_document};
use crate::source::at_path;
use crate::tree::{self, Text};
use schemars::JsonSchema;
use serde::de::DeserializeOwned;
use serde_path_to_error::{Segment, Track};
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Reads a TOML file of type `T`, which needs `version = 1` at its top (whether or not `T` has a field for it is up to
/// `T`). Fields that begin with `x_` are passed over even where `T` refuses unknown ones.
///
/// # Errors
/// All slips of grammar with their lines; of a file that is TOML, the first thing that does not fit `T`.
pub fn read_toml<T: DeserializeOwned>(path: &Path) -> Result<Loaded<T>, Problems> {
    let limits = Limits::default();
    let document = at_path(path)?.document(&limits)?;
    let mut findings = Findings::up_to(limits.problems);
    let tree = tree::parse_toml(&document.text, limits.depth, &mut findings);
    let mut value = None;
    if tree
        .as_ref()
        .is_some_and(|tree| check_version(tree, &mut findings))
        && findings.is_empty()
    {
        match typed(&document.text) {
            Ok(typed) => value = Some(typed),
            Err(finding) => findings.push(finding),
        }
    }
    match value {
        Some(value) => Ok(Loaded {
            value,
            file_name: document.name,
            sha256: document.sha256,
        }),
        None => Err(Text {
            text: &document.text,
            first_line: 1,
        }
        .problems(&document.name, tree.as_ref(), findings)),
    }
}

/// Like [`read_toml`], for a type with a schema: all that does not fit is listed at once.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_toml_checked<T: DeserializeOwned + JsonSchema>(
    path: &Path,
) -> Result<Loaded<T>, Problems> {
    read_document(
        &at_path(path)?,
        Grammar::Toml,
        &Limits::default(),
        |typed: T, _| typed,
    )
}

/// The same for a JSON file, found at exactly this path.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_json_checked<T: DeserializeOwned + JsonSchema>(
    path: &Path,
) -> Result<Loaded<T>, Problems> {
    read_document(
        &at_path(path)?,
        Grammar::Json,
        &Limits::default(),
        |typed: T, _| typed,
    )
}

fn typed<T: DeserializeOwned>(text: &str) -> Result<T, Finding> {
    let parsed = DeTable::parse(text)
        .map_err(|e| Finding::new(Code::TomlSyntax, Place::default(), e.message()))?;
    let span = parsed.span();
    let table = Spanned::new(span, without_own_fields(parsed.into_inner()));
    let mut track = Track::new();
    let deserializer =
        serde_path_to_error::Deserializer::new(toml::Deserializer::from(table), &mut track);
    T::deserialize(deserializer).map_err(|e| misfit(&e, &track.path()))
}

/// The table without fields that begin with `x_`, at every level.
fn without_own_fields(table: DeTable<'_>) -> DeTable<'_> {
    let kept = table
        .into_iter()
        .filter(|(key, _)| !key.get_ref().starts_with("x_"));
    kept.map(|(key, value)| (key, without_own_fields_inside(value)))
        .collect()
}

fn without_own_fields_inside(value: Spanned<DeValue<'_>>) -> Spanned<DeValue<'_>> {
    let span = value.span();
    let inner = match value.into_inner() {
        DeValue::Table(table) => DeValue::Table(without_own_fields(table)),
        DeValue::Array(list) => {
            DeValue::Array(list.into_iter().map(without_own_fields_inside).collect())
        }
        other => other,
    };
    Spanned::new(span, inner)
}

/// Puts serde's words for the first misfit into ours.
fn misfit(error: &toml::de::Error, path: &serde_path_to_error::Path) -> Finding {
    let mut place = Place(path.iter().filter_map(step).collect());
    let said = error.message();
    let named = quoted(said);
    let candidates: Vec<&str> = named.iter().skip(1).copied().collect();
    let name = named.first().copied().unwrap_or_default();
    let among = || format!("one of {}", candidates.join(", "));
    let finding = if said.starts_with("unknown field") {
        if place.0.last() != Some(&Step::from(name)) {
            place.0.push(Step::from(name));
        }
        suggest(
            Finding::new(Code::FieldUnknown, place, among()).found(name),
            name,
            candidates.iter().copied(),
        )
    } else if said.starts_with("missing field") {
        place.0.push(Step::from(name));
        Finding::new(Code::FieldMissing, place, "the field").found("nothing")
    } else if said.starts_with("unknown variant") {
        suggest(
            Finding::new(Code::ValueUnknown, place, among()),
            name,
            candidates.iter().copied(),
        )
    } else {
        let code = match said {
            _ if said.starts_with("invalid length") => Code::LengthWrong,
            _ if said.starts_with("invalid value") => Code::NumberOutOfRange,
            _ => Code::TypeWrong,
        };
        let expected = said
            .rsplit_once("expected ")
            .map_or(said, |(_, expected)| expected);
        Finding::new(code, place, expected)
    };
    match error.span() {
        Some(span) => finding.offset(span.start),
        None => finding,
    }
}

fn step(segment: &Segment) -> Option<Step> {
    match segment {
        Segment::Seq { index } => Some(Step::At(*index)),
        Segment::Map { key } => Some(Step::Key(key.clone())),
        Segment::Enum { .. } | Segment::Unknown => None,
    }
}

/// The words in backquotes.
fn quoted(said: &str) -> Vec<&str> {
    said.split('`').skip(1).step_by(2).collect()
}
