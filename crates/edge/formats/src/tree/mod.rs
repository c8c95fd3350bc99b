//! A document as a tree that remembers where everything stands: read only to explain what is wrong.

mod json;
mod toml_text;

use crate::findings::{Finding, Findings, Place, Step};
use crate::problem::{Problem, Problems};
use std::borrow::Cow;

pub(crate) use json::parse as parse_json;
pub(crate) use toml_text::parse as parse_toml;

/// A value and where it begins.
#[derive(Debug)]
pub(crate) struct Node<'a> {
    /// Byte offset in the document.
    pub(crate) offset: usize,
    /// The value as written.
    pub(crate) raw: &'a str,
    pub(crate) value: Value<'a>,
}

/// What a node holds.
#[derive(Debug)]
pub(crate) enum Value<'a> {
    Null,
    Bool,
    /// `whole` where it is written as a whole number; `value` is not finite where it cannot be held.
    Number {
        value: f64,
        whole: Option<i128>,
    },
    Text(Cow<'a, str>),
    List(Vec<Node<'a>>),
    Table(Vec<Member<'a>>),
    /// A date or time of TOML.
    Other,
}

/// A field of an object.
#[derive(Debug)]
pub(crate) struct Member<'a> {
    pub(crate) key: Cow<'a, str>,
    pub(crate) key_offset: usize,
    pub(crate) node: Node<'a>,
}

impl<'a> Node<'a> {
    pub(crate) fn member(&self, key: &str) -> Option<&Member<'a>> {
        match &self.value {
            Value::Table(members) => members.iter().find(|m| m.key == key),
            _ => None,
        }
    }

    /// The node at `place`, or the deepest on the way there and `false`.
    fn walk(&self, place: &Place) -> (&Node<'a>, bool) {
        let mut node = self;
        for step in &place.0 {
            let next = match (step, &node.value) {
                (Step::Key(key), _) => node.member(key).map(|m| &m.node),
                (Step::At(at), Value::List(list)) => list.get(*at),
                (Step::At(_), _) => None,
            };
            match next {
                Some(next) => node = next,
                None => return (node, false),
            }
        }
        (node, true)
    }

    /// The value as written, shortened, for a message.
    pub(crate) fn shown(&self) -> String {
        shorten(self.raw)
    }
}

/// Longest piece of a file that a message repeats, characters.
const SHOWN_CHARS: usize = 80;

/// One line of at most [`SHOWN_CHARS`].
pub(crate) fn shorten(text: &str) -> String {
    let mut shown: String = text
        .chars()
        .take(SHOWN_CHARS)
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    if text.chars().nth(SHOWN_CHARS).is_some() {
        shown.push_str(" ..");
    }
    if shown.trim().is_empty() {
        "nothing".to_owned()
    } else {
        shown
    }
}

/// Which lines a text has in its file.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Text<'a> {
    pub(crate) text: &'a str,
    /// Line of the file on which it begins, from 1.
    pub(crate) first_line: u64,
}

impl Text<'_> {
    fn line_of(&self, offset: usize) -> u64 {
        let before = self
            .text
            .as_bytes()
            .get(..offset)
            .unwrap_or(self.text.as_bytes());
        self.first_line + memchr::memchr_iter(b'\n', before).count() as u64
    }

    /// Turns findings into problems of `file`. Without a tree (it could not be built) offsets alone tell the line.
    pub(crate) fn problems(
        &self,
        file: &str,
        tree: Option<&Node<'_>>,
        findings: Findings,
    ) -> Problems {
        let cut_short = if findings.cut_short {
            vec![file.to_owned()]
        } else {
            Vec::new()
        };
        Problems {
            list: findings
                .list
                .into_iter()
                .map(|f| self.problem(file, tree, f))
                .collect(),
            cut_short,
        }
    }

    fn problem(&self, file: &str, tree: Option<&Node<'_>>, finding: Finding) -> Problem {
        let node = tree.map(|t| t.walk(&finding.place));
        let offset = finding.offset.or(node.map(|(n, _)| n.offset)).unwrap_or(0);
        let standing = || match node {
            Some((node, true)) => node.shown(),
            _ => "nothing".to_owned(),
        };
        Problem {
            code: finding.code,
            file: file.to_owned(),
            line: Some(self.line_of(offset)),
            field: finding.place.to_string(),
            found: finding.found.unwrap_or_else(standing),
            expected: finding.expected,
            what_to_do: finding
                .advice
                .unwrap_or_else(|| finding.code.entry().action.to_owned()),
        }
    }
}
