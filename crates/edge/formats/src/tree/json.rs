//! JSON as a tree with offsets, by way of `RawValue`: each value is a slice of the text, which tells its place.

use super::{Member, Node, Value, shorten};
use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, Step};
use crate::wire::text::Word;
use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::value::RawValue;
use std::borrow::Cow;

/// Parses `text`. Grammar errors, repeated keys, numbers that cannot be held and too deep nesting are added to `out`;
/// `None` where no tree can be built.
pub(crate) fn parse<'a>(text: &'a str, depth_limit: usize, out: &mut Findings) -> Option<Node<'a>> {
    if let Some(rest) = text.strip_prefix('\u{feff}') {
        let found = shorten(rest);
        out.push(
            Finding::new(
                Code::ByteOrderMark,
                Place::default(),
                "text from the first byte on",
            )
            .found(found),
        );
        return None;
    }
    match serde_json::from_str::<&'a RawValue>(text) {
        Ok(raw) => {
            let mut builder = Builder {
                text,
                depth_limit,
                place: Place::default(),
                out,
            };
            builder.node(raw.get(), 0)
        }
        Err(error) => {
            out.push(grammar_finding(text, &error));
            None
        }
    }
}

/// Names the place where the grammar breaks.
fn grammar_finding(text: &str, error: &serde_json::Error) -> Finding {
    if error.is_eof() {
        let end = text.trim_end().len();
        let tail = text.get(before(text, end, TAIL_BYTES)..end).unwrap_or(text);
        return Finding::new(
            Code::JsonTruncated,
            Place::default(),
            "a complete JSON value",
        )
        .found(format!("text that ends with {}", shorten(tail)))
        .offset(end);
    }
    let offset = offset_of(text, error.line(), error.column());
    let at = text.get(before(text, offset, 1)..).unwrap_or("");
    if is_non_finite_word(at) {
        return Finding::new(Code::NumberNotFinite, Place::default(), "a finite number")
            .found(shorten(at))
            .offset(offset);
    }
    let said = error.to_string();
    let said = said.split(" at line ").next().unwrap_or(&said).to_owned();
    Finding::new(
        Code::JsonSyntax,
        Place::default(),
        format!("JSON ({said} at column {})", error.column()),
    )
    .found(shorten(at))
    .offset(offset)
}

/// How much of the end of a broken text a message shows.
const TAIL_BYTES: usize = 30;

/// The character boundary at or before `count` bytes before `end`.
fn before(text: &str, end: usize, count: usize) -> usize {
    (0..=end.saturating_sub(count))
        .rev()
        .find(|at| text.is_char_boundary(*at))
        .unwrap_or(0)
}

/// NaN and infinity as various programs write them.
fn is_non_finite_word(at: &str) -> bool {
    let word = at.trim_start_matches(['-', '+', ' ', ':', '[', ',']);
    ["NaN", "nan", "Infinity", "inf", "Inf"]
        .iter()
        .any(|w| word.starts_with(w))
}

/// Byte offset of a line and column, both from 1, as serde_json counts them.
fn offset_of(text: &str, line: usize, column: usize) -> usize {
    let line_start = if line <= 1 {
        0
    } else {
        memchr::memchr_iter(b'\n', text.as_bytes())
            .nth(line - 2)
            .map_or(text.len(), |at| at + 1)
    };
    (line_start + column).min(text.len())
}

struct Builder<'a, 'o> {
    text: &'a str,
    depth_limit: usize,
    place: Place,
    out: &'o mut Findings,
}

impl<'a> Builder<'a, '_> {
    /// Builds the tree of `raw`, a slice of the text.
    fn node(&mut self, raw: &'a str, depth: usize) -> Option<Node<'a>> {
        let offset = self.offset(raw);
        if depth > self.depth_limit {
            let expected = format!("at most {} levels", self.depth_limit);
            let finding = Finding::new(Code::NestingTooDeep, self.place.clone(), expected)
                .found(shorten(raw));
            self.out.push(finding.offset(offset));
            return None;
        }
        let value = match raw.as_bytes().first() {
            Some(b'n') => Value::Null,
            Some(b't' | b'f') => Value::Bool,
            Some(b'"') => Value::Text(self.text_value(raw, offset)?),
            Some(b'[') => Value::List(self.list(raw, depth)?),
            Some(b'{') => Value::Table(self.table(raw, depth)?),
            _ => self.number(raw, offset),
        };
        Some(Node { offset, raw, value })
    }

    /// Where `raw` begins; it is a slice of the text.
    fn offset(&self, raw: &str) -> usize {
        (raw.as_ptr() as usize).saturating_sub(self.text.as_ptr() as usize)
    }

    fn number(&mut self, raw: &str, offset: usize) -> Value<'a> {
        let value = raw.parse::<f64>().unwrap_or(f64::NAN);
        if !value.is_finite() {
            let finding = Finding::new(
                Code::NumberNotFinite,
                self.place.clone(),
                "a number that 64 bits can hold",
            );
            self.out.push(finding.found(shorten(raw)).offset(offset));
        }
        Value::Number {
            value,
            whole: raw.parse::<i128>().ok(),
        }
    }

    fn text_value(&mut self, raw: &'a str, offset: usize) -> Option<Cow<'a, str>> {
        match serde_json::from_str::<Word<'a>>(raw) {
            Ok(word) => Some(word.0),
            Err(_) => {
                let finding = Finding::new(
                    Code::JsonSyntax,
                    self.place.clone(),
                    "text with proper escapes",
                );
                self.out.push(finding.found(shorten(raw)).offset(offset));
                None
            }
        }
    }

    fn list(&mut self, raw: &'a str, depth: usize) -> Option<Vec<Node<'a>>> {
        let items: Vec<&'a RawValue> = serde_json::from_str(raw).ok()?;
        let mut nodes = Vec::with_capacity(items.len());
        let mut whole = true;
        for (at, item) in items.into_iter().enumerate() {
            self.place.0.push(Step::At(at));
            match self.node(item.get(), depth + 1) {
                Some(node) => nodes.push(node),
                None => whole = false,
            }
            self.place.0.pop();
        }
        whole.then_some(nodes)
    }

    fn table(&mut self, raw: &'a str, depth: usize) -> Option<Vec<Member<'a>>> {
        let Pairs(pairs) = serde_json::from_str(raw)
            .map_err(|_| self.bad_key(raw))
            .ok()?;
        let mut seen = std::collections::BTreeSet::new();
        let mut members = Vec::with_capacity(pairs.len());
        let mut whole = true;
        for (key, item) in pairs {
            self.place.0.push(Step::Key(key.to_string()));
            let key_offset = self.offset(item.get());
            if !seen.insert(key.clone()) {
                let finding = Finding::new(Code::KeyTwice, self.place.clone(), "each field once");
                self.out.push(
                    finding
                        .found(format!("{key} a second time"))
                        .offset(key_offset),
                );
            }
            match self.node(item.get(), depth + 1) {
                Some(node) => members.push(Member {
                    key,
                    key_offset,
                    node,
                }),
                None => whole = false,
            }
            self.place.0.pop();
        }
        whole.then_some(members)
    }

    /// The only thing that can still be wrong with an object is an escape in a key.
    fn bad_key(&mut self, raw: &str) {
        let offset = self.offset(raw);
        let finding = Finding::new(
            Code::JsonSyntax,
            self.place.clone(),
            "field names with proper escapes",
        );
        self.out.push(finding.found(shorten(raw)).offset(offset));
    }
}

/// The fields of an object in their order, repeated ones included.
struct Pairs<'a>(Vec<(Cow<'a, str>, &'a RawValue)>);

impl<'de> Deserialize<'de> for Pairs<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct PairVisitor;
        impl<'de> Visitor<'de> for PairVisitor {
            type Value = Pairs<'de>;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("an object")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut pairs = Vec::new();
                while let Some((key, value)) = map.next_entry::<Word<'de>, &'de RawValue>()? {
                    pairs.push((key.0, value));
                }
                Ok(Pairs(pairs))
            }
        }
        deserializer.deserialize_map(PairVisitor)
    }
}
