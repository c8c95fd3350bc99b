//! Whether a document has the shape of its type: fields, types, words, lengths. Reads the same schema that is
//! published, so that what is checked and what is told cannot differ; lists all that is wrong, not the first only.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, Step};
use crate::read::checks::suggest;
use crate::schemas::schema_of;
use crate::tree::{Node, Value as Held};
use schemars::JsonSchema;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// The shape of a type.
pub(crate) struct Shape {
    schema: Value,
}

impl Shape {
    pub(crate) fn of<T: JsonSchema>() -> Self {
        Self {
            schema: schema_of::<T>().to_value(),
        }
    }

    /// Adds to `out` all that does not fit.
    pub(crate) fn check(&self, root: &Node<'_>, out: &mut Findings) {
        Walk {
            shape: self,
            place: Place::default(),
            out,
        }
        .visit(&self.schema, root);
    }

    /// The schema that a reference leads to.
    fn resolve<'s>(&'s self, mut schema: &'s Value) -> &'s Value {
        const HOPS: usize = 8;
        for _ in 0..HOPS {
            let Some(reference) = schema.get("$ref").and_then(Value::as_str) else {
                break;
            };
            match reference
                .strip_prefix('#')
                .and_then(|pointer| self.schema.pointer(pointer))
            {
                Some(target) => schema = target,
                None => break,
            }
        }
        schema
    }
}

struct Walk<'s, 'o> {
    shape: &'s Shape,
    place: Place,
    out: &'o mut Findings,
}

impl<'s> Walk<'s, '_> {
    fn visit(&mut self, schema: &'s Value, node: &Node<'_>) {
        let schema = self.shape.resolve(schema);
        let Some(object) = schema.as_object() else {
            return;
        };
        if let Some(branches) = object.get("anyOf").and_then(Value::as_array) {
            return self.nullable(branches, node);
        }
        if let Some(words) = words_of(self.shape, schema) {
            return self.word(&words, node);
        }
        if let Some(branches) = object.get("oneOf").and_then(Value::as_array) {
            return self.tagged(branches, node);
        }
        if !self.type_fits(object, node) {
            let finding = Finding::new(
                Code::TypeWrong,
                self.place.clone(),
                describe(self.shape, schema),
            );
            self.out.push(finding);
            return;
        }
        match &node.value {
            Held::Table(_) => self.table(object, node),
            Held::List(list) => self.list(schema, object, node, list),
            Held::Number { value, whole } => self.number(schema, object, *value, *whole),
            _ => {}
        }
    }

    /// A value or null.
    fn nullable(&mut self, branches: &'s [Value], node: &Node<'_>) {
        let is_null = |s: &Value| s.get("type").and_then(Value::as_str) == Some("null");
        if matches!(node.value, Held::Null) && branches.iter().any(is_null) {
            return;
        }
        if let Some(branch) = branches.iter().find(|s| !is_null(s)) {
            self.visit(branch, node);
        }
    }

    fn word(&mut self, words: &[&str], node: &Node<'_>) {
        let Held::Text(text) = &node.value else {
            let finding = Finding::new(Code::TypeWrong, self.place.clone(), one_of(words));
            return self.out.push(finding);
        };
        if !words.contains(&text.as_ref()) {
            let finding = Finding::new(Code::ValueUnknown, self.place.clone(), one_of(words));
            self.out.push(suggest(finding, text, words.iter().copied()));
        }
    }

    /// An object whose field (the tag) says which of several kinds it is.
    fn tagged(&mut self, branches: &'s [Value], node: &Node<'_>) {
        let Some(tag) = branches.iter().find_map(tag_of) else {
            return;
        };
        let words: Vec<&str> = branches.iter().filter_map(|b| tag_word(b, tag)).collect();
        let Held::Table(_) = &node.value else {
            let finding = Finding::new(Code::TypeWrong, self.place.clone(), "an object");
            return self.out.push(finding);
        };
        self.place.0.push(tag.into());
        let chosen = match node.member(tag) {
            None => {
                let finding = Finding::new(Code::FieldMissing, self.place.clone(), one_of(&words));
                self.out.push(finding.offset(node.offset));
                None
            }
            Some(member) => {
                self.word(&words, &member.node);
                match &member.node.value {
                    Held::Text(text) => branches
                        .iter()
                        .find(|b| tag_word(b, tag) == Some(text.as_ref())),
                    _ => None,
                }
            }
        };
        self.place.0.pop();
        if let Some(branch) = chosen {
            self.visit(branch, node);
        }
    }

    fn type_fits(&self, object: &Map<String, Value>, node: &Node<'_>) -> bool {
        match object.get("type") {
            None => true,
            Some(Value::String(name)) => has_type(name, node),
            Some(Value::Array(names)) => names
                .iter()
                .filter_map(Value::as_str)
                .any(|name| has_type(name, node)),
            Some(_) => true,
        }
    }

    fn table(&mut self, object: &'s Map<String, Value>, node: &Node<'_>) {
        let Held::Table(members) = &node.value else {
            return;
        };
        let none = Map::new();
        let known = object.get("properties").and_then(Value::as_object);
        for member in members {
            self.place.0.push(Step::Key(member.key.to_string()));
            match (
                known.and_then(|k| k.get(member.key.as_ref())),
                object.get("additionalProperties"),
            ) {
                (Some(schema), _) => self.visit(schema, &member.node),
                (None, Some(Value::Bool(false))) if !member.key.starts_with("x_") => {
                    let absent = known.unwrap_or(&none).keys().map(String::as_str);
                    self.unknown(
                        &member.key,
                        member.key_offset,
                        absent.filter(|k| node.member(k).is_none()),
                    );
                }
                (None, Some(schema)) => self.visit(schema, &member.node),
                (None, None) => {}
            }
            self.place.0.pop();
        }
        let present: BTreeSet<&str> = members.iter().map(|m| m.key.as_ref()).collect();
        let required = object.get("required").and_then(Value::as_array);
        for key in required
            .into_iter()
            .flatten()
            .filter_map(Value::as_str)
            .filter(|k| !present.contains(k))
        {
            let expected = known
                .and_then(|k| k.get(key))
                .map_or_else(String::new, |s| describe(self.shape, s));
            self.place.0.push(key.into());
            let finding =
                Finding::new(Code::FieldMissing, self.place.clone(), expected).found("nothing");
            self.out.push(finding.offset(node.offset));
            self.place.0.pop();
        }
    }

    fn unknown<'k>(&mut self, key: &str, offset: usize, absent: impl Iterator<Item = &'k str>) {
        let absent: Vec<&str> = absent.collect();
        let expected = if absent.is_empty() {
            "no further field".to_owned()
        } else {
            format!("one of the fields not yet given: {}", absent.join(", "))
        };
        let finding = Finding::new(Code::FieldUnknown, self.place.clone(), expected);
        self.out.push(
            suggest(finding, key, absent.into_iter())
                .found(key.to_owned())
                .offset(offset),
        );
    }

    fn list(
        &mut self,
        schema: &'s Value,
        object: &'s Map<String, Value>,
        node: &Node<'_>,
        list: &[Node<'_>],
    ) {
        let bound = |name: &str| {
            object
                .get(name)
                .and_then(Value::as_u64)
                .and_then(|n| usize::try_from(n).ok())
        };
        let few = bound("minItems").is_some_and(|n| list.len() < n);
        if few || bound("maxItems").is_some_and(|n| list.len() > n) {
            let found = format!("a list of {}: {}", list.len(), node.shown());
            let finding = Finding::new(
                Code::LengthWrong,
                self.place.clone(),
                describe(self.shape, schema),
            );
            self.out.push(finding.found(found));
            return;
        }
        let by_place = object.get("prefixItems").and_then(Value::as_array);
        for (at, item) in list.iter().enumerate() {
            let Some(schema) = by_place
                .and_then(|p| p.get(at))
                .or_else(|| object.get("items"))
            else {
                continue;
            };
            self.place.0.push(Step::At(at));
            self.visit(schema, item);
            self.place.0.pop();
        }
    }

    // bounds are small
    fn number(
        &mut self,
        schema: &'s Value,
        object: &Map<String, Value>,
        value: f64,
        whole: Option<i128>,
    ) {
        let bound = |name: &str| object.get(name).and_then(Value::as_f64);
        let (low, high) = object
            .get("format")
            .and_then(Value::as_str)
            .and_then(range_of)
            .unwrap_or((i128::MIN, i128::MAX));
        let held = whole.map_or(value, |w| w as f64);
        let fits = bound("minimum").is_none_or(|b| held >= b)
            && bound("maximum").is_none_or(|b| held <= b)
            && whole.is_none_or(|w| (low..=high).contains(&w));
        if value.is_finite() && !fits {
            let finding = Finding::new(
                Code::NumberOutOfRange,
                self.place.clone(),
                describe(self.shape, schema),
            );
            self.out.push(finding);
        }
    }
}

/// The range of a whole number's format.
fn range_of(format: &str) -> Option<(i128, i128)> {
    Some(match format {
        "uint8" => (0, i128::from(u8::MAX)),
        "uint32" => (0, i128::from(u32::MAX)),
        "uint64" | "uint" => (0, i128::from(u64::MAX)),
        "int64" | "int" => (i128::from(i64::MIN), i128::from(i64::MAX)),
        _ => return None,
    })
}

fn has_type(name: &str, node: &Node<'_>) -> bool {
    match name {
        "null" => matches!(node.value, Held::Null),
        "boolean" => matches!(node.value, Held::Bool),
        "string" => matches!(node.value, Held::Text(_)),
        "array" => matches!(node.value, Held::List(_)),
        "object" => matches!(node.value, Held::Table(_)),
        "number" => matches!(node.value, Held::Number { .. }),
        "integer" => matches!(node.value, Held::Number { whole: Some(_), .. }),
        _ => true,
    }
}

/// The words of an enumeration, where the schema is one.
fn words_of<'s>(shape: &'s Shape, schema: &'s Value) -> Option<Vec<&'s str>> {
    let schema = shape.resolve(schema);
    if let Some(words) = schema.get("enum").and_then(Value::as_array) {
        return Some(words.iter().filter_map(Value::as_str).collect());
    }
    if let Some(word) = schema.get("const").and_then(Value::as_str) {
        return Some(vec![word]);
    }
    let branches = schema.get("oneOf")?.as_array()?;
    branches
        .iter()
        .map(|b| b.get("const").and_then(Value::as_str))
        .collect()
}

/// The field by which a branch is known: the one with a fixed value.
fn tag_of(branch: &Value) -> Option<&str> {
    let fields = branch.get("properties")?.as_object()?;
    fields
        .iter()
        .find(|(_, schema)| schema.get("const").is_some())
        .map(|(key, _)| key.as_str())
}

fn tag_word<'s>(branch: &'s Value, tag: &str) -> Option<&'s str> {
    branch.get("properties")?.get(tag)?.get("const")?.as_str()
}

fn one_of(words: &[&str]) -> String {
    match words {
        [word] => word.to_string(),
        _ => format!("one of {}", words.join(", ")),
    }
}

/// What a schema asks for, in words.
fn describe(shape: &Shape, schema: &Value) -> String {
    let schema = shape.resolve(schema);
    if let Some(words) = words_of(shape, schema) {
        return one_of(&words);
    }
    if let Some(branches) = schema.get("anyOf").and_then(Value::as_array) {
        return branches
            .first()
            .map_or_else(String::new, |branch| describe(shape, branch));
    }
    let name = match schema.get("type") {
        Some(Value::String(name)) => name.as_str(),
        Some(Value::Array(names)) => names.first().and_then(Value::as_str).unwrap_or("object"),
        _ => "object",
    };
    match name {
        "number" => "a number".to_owned(),
        "integer" => whole_number(schema),
        "string" => "text in quotes".to_owned(),
        "boolean" => "true or false".to_owned(),
        "array" => list_of(shape, schema),
        _ => "an object".to_owned(),
    }
}

fn whole_number(schema: &Value) -> String {
    let range = schema
        .get("format")
        .and_then(Value::as_str)
        .and_then(range_of);
    match range {
        Some((low, high)) if high <= i128::from(u32::MAX) => {
            format!("a whole number from {low} to {high}")
        }
        Some((0, _)) => "a whole number, 0 or more".to_owned(),
        _ => "a whole number".to_owned(),
    }
}

fn list_of(shape: &Shape, schema: &Value) -> String {
    let count = schema.get("minItems").and_then(Value::as_u64);
    let items = match schema.get("items").map(|s| describe(shape, s)).as_deref() {
        Some("a number") => "numbers".to_owned(),
        Some("text in quotes") => "texts".to_owned(),
        Some("an object") => "objects".to_owned(),
        Some(other) if other.starts_with("a list") => "lists".to_owned(),
        _ => "entries".to_owned(),
    };
    count.map_or_else(
        || format!("a list of {items}"),
        |n| format!("a list of {n} {items}"),
    )
}
