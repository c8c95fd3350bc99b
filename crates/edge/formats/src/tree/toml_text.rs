//! TOML as a tree with offsets.

use super::{Member, Node, Value, shorten};
use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, Step};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Parses `text`. Grammar errors, repeated keys, numbers that are not finite and too deep nesting are added to `out`;
/// `None` where the grammar is broken.
pub(crate) fn parse<'a>(text: &'a str, depth_limit: usize, out: &mut Findings) -> Option<Node<'a>> {
    let (table, errors) = DeTable::parse_recoverable(text);
    if errors.is_empty() {
        let span = table.span();
        let mut builder = Builder {
            text,
            depth_limit,
            place: Place::default(),
            out,
        };
        let members = builder.table(table.into_inner(), 0);
        return Some(Node {
            offset: span.start,
            raw: text,
            value: Value::Table(members),
        });
    }
    let mut last_line = None;
    for error in errors {
        let offset = error.span().map_or(0, |s| s.start);
        // one slip often breaks the rest of its line in several ways
        let line = text
            .as_bytes()
            .get(..offset)
            .map(|b| memchr::memchr_iter(b'\n', b).count());
        if last_line == Some(line) {
            continue;
        }
        last_line = Some(line);
        out.push(grammar_finding(text, offset, error.message()));
    }
    None
}

fn grammar_finding(text: &str, offset: usize, said: &str) -> Finding {
    let rest = text.get(offset..).unwrap_or("");
    let found = shorten(rest.lines().next().unwrap_or(""));
    let (code, expected) = if said.contains("duplicate key") {
        (Code::KeyTwice, "each field once".to_owned())
    } else {
        (
            Code::TomlSyntax,
            format!("TOML ({})", said.replace('\n', ", ")),
        )
    };
    Finding::new(code, Place::default(), expected)
        .found(found)
        .offset(offset)
}

struct Builder<'a, 'o> {
    text: &'a str,
    depth_limit: usize,
    place: Place,
    out: &'o mut Findings,
}

impl<'a> Builder<'a, '_> {
    fn table(&mut self, table: DeTable<'a>, depth: usize) -> Vec<Member<'a>> {
        let mut members: Vec<Member<'a>> = table
            .into_iter()
            .map(|(key, value)| {
                let key_offset = key.span().start;
                let key = key.into_inner();
                self.place.0.push(Step::Key(key.to_string()));
                let node = self.node(value, key_offset, depth + 1);
                self.place.0.pop();
                Member {
                    key,
                    key_offset,
                    node,
                }
            })
            .collect();
        members.sort_by_key(|m| m.key_offset); // the map sorts by name; problems are told in the order of the file
        members
    }

    fn node(&mut self, value: Spanned<DeValue<'a>>, key_offset: usize, depth: usize) -> Node<'a> {
        let span = value.span();
        let raw = self.text.get(span.clone()).unwrap_or("");
        if depth > self.depth_limit {
            let expected = format!("at most {} levels", self.depth_limit);
            let finding = Finding::new(Code::NestingTooDeep, self.place.clone(), expected)
                .found(shorten(raw));
            self.out.push(finding.offset(span.start));
            return Node {
                offset: span.start,
                raw,
                value: Value::Other,
            };
        }
        let value = match value.into_inner() {
            DeValue::String(text) => Value::Text(text),
            DeValue::Boolean(_) => Value::Bool,
            DeValue::Datetime(_) => Value::Other,
            DeValue::Integer(whole) => self.whole(whole.as_str(), whole.radix()),
            DeValue::Float(float) => self.float(float.as_str(), span.start),
            DeValue::Array(list) => Value::List(self.list(list, key_offset, depth)),
            DeValue::Table(table) => Value::Table(self.table(table, depth)),
        };
        Node {
            offset: span.start,
            raw,
            value,
        }
    }

    fn list(
        &mut self,
        list: toml::de::DeArray<'a>,
        key_offset: usize,
        depth: usize,
    ) -> Vec<Node<'a>> {
        let mut nodes = Vec::with_capacity(list.len());
        for (at, item) in list.into_iter().enumerate() {
            self.place.0.push(Step::At(at));
            nodes.push(self.node(item, key_offset, depth + 1));
            self.place.0.pop();
        }
        nodes
    }

    // only compared with bounds
    fn whole(&mut self, digits: &str, radix: u32) -> Value<'a> {
        let whole = i128::from_str_radix(digits, radix).ok();
        Value::Number {
            value: whole.map_or(f64::NAN, |w| w as f64),
            whole,
        }
    }

    fn float(&mut self, written: &str, offset: usize) -> Value<'a> {
        let value = written.parse::<f64>().unwrap_or(f64::NAN);
        if !value.is_finite() {
            let finding =
                Finding::new(Code::NumberNotFinite, self.place.clone(), "a finite number");
            self.out
                .push(finding.found(shorten(written)).offset(offset));
        }
        Value::Number { value, whole: None }
    }
}
