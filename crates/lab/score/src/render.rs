//! The score as a table for people.

use crate::over_units;
use crate::scores::Scores;
use serde_json::{Map, Value};
use std::fmt::Write;

/// Every figure on a line of its own: absolute figures beside those with the common shift removed. Reliability tables
/// are reduced to their counts and means; they stand in full in the serialised score.
#[must_use]
pub fn render_table(scores: &Scores) -> String {
    let mut table = String::new();
    // a score is plain data, so this cannot fail; were it to, the table says so
    let Ok(Value::Object(all)) = serde_json::to_value(scores) else {
        return "the score cannot be shown\n".to_owned();
    };
    let part = |name: &str| all.get(name).unwrap_or(&Value::Null);
    for name in [
        "truth",
        "detector",
        "association",
        "by_identity",
        "tracking",
        "counts",
        "common_shift",
    ] {
        section(&mut table, name, &[part(name)]);
    }
    let (absolute, removed) = (part("absolute"), part("shift_removed"));
    match (absolute.get("absent_because"), absolute) {
        (None, Value::Object(sections)) => {
            let _ = writeln!(table, "\n{:46}{:40}common shift removed", "", "absolute");
            for (name, figures) in sections {
                section(
                    &mut table,
                    name,
                    &[figures, removed.get(name).unwrap_or(removed)],
                );
            }
        }
        _ => section(&mut table, "absolute", &[absolute]),
    }
    over_units::section(&mut table, &scores.intervals);
    table
}

fn section(table: &mut String, name: &str, columns: &[&Value]) {
    let _ = writeln!(table, "{}", spoken(name).to_uppercase());
    rows(table, "", columns);
}

/// One row for each figure below, in the order of the first column.
fn rows(table: &mut String, above: &str, columns: &[&Value]) {
    let Some(Value::Object(first)) = columns.first() else {
        return;
    };
    if let Some(because) = first.get("absent_because").and_then(Value::as_str) {
        let _ = writeln!(table, "  none: {because}");
        return;
    }
    for (name, value) in first {
        let below: Vec<&Value> = columns
            .iter()
            .map(|c| c.get(name).unwrap_or(&Value::Null))
            .collect();
        let title = if above.is_empty() {
            spoken(name)
        } else {
            format!("{above}: {}", spoken(name))
        };
        match value {
            Value::Object(fields) if cell(fields).is_none() => rows(table, &title, &below),
            Value::Array(items) => list(table, &title, items),
            _ => row(table, &title, &below),
        }
    }
}

fn row(table: &mut String, title: &str, values: &[&Value]) {
    let mut line = format!("  {title:44}");
    for value in values {
        let text = match value {
            Value::Object(fields) => cell(fields).unwrap_or_default(),
            other => plain(other),
        };
        let _ = write!(line, "{text:40}");
    }
    let _ = writeln!(table, "{}", line.trim_end());
}

/// The rows of a list, each on a line; absolute figures only.
fn list(table: &mut String, title: &str, items: &[Value]) {
    for item in items {
        let Value::Object(fields) = item else {
            continue;
        };
        let name = match fields.values().next() {
            None | Some(Value::Null) => "all".to_owned(),
            Some(first) => plain(first),
        };
        let text = |value: &Value| match value {
            Value::Object(figure) => cell(figure).unwrap_or_default(),
            other => plain(other),
        };
        let rest = fields
            .iter()
            .skip(1)
            .map(|(k, v)| format!("{} {}", spoken(k), text(v)));
        let _ = writeln!(
            table,
            "  {:44}{}",
            format!("{title}: {name}"),
            rest.collect::<Vec<_>>().join(", ")
        );
    }
}

/// A figure in one cell, or `None` where the object is a group of figures.
fn cell(fields: &Map<String, Value>) -> Option<String> {
    let has = |name: &str| fields.contains_key(name);
    let number = |name: &str| fields.get(name).and_then(Value::as_f64);
    let reason = || {
        format!(
            "- ({})",
            fields
                .get("reason")
                .and_then(Value::as_str)
                .unwrap_or("undefined")
        )
    };
    if has("num") && has("den") {
        let counts = format!(
            "{}/{}",
            plain(fields.get("num")?),
            plain(fields.get("den")?)
        );
        return Some(match (number("value"), number("low"), number("high")) {
            (Some(v), Some(l), Some(h)) => {
                format!(
                    "{:5.1} %  {counts}  [{:.1}, {:.1}]",
                    100.0 * v,
                    100.0 * l,
                    100.0 * h
                )
            }
            _ => reason(),
        });
    }
    if has("median") && has("p95") {
        let text = |m: f64| {
            format!(
                "{m:.2} (95 %: {:.2}, n {})",
                number("p95").unwrap_or(f64::NAN),
                count(fields)
            )
        };
        return Some(number("median").map_or_else(reason, text));
    }
    if has("brier") {
        let stated = number("stated").unwrap_or(f64::NAN);
        let text = |b: f64| {
            format!(
                "Brier {b:.3}, stated {stated:.3}, {} true",
                came_true(fields)
            )
        };
        return Some(number("brier").map_or_else(reason, text));
    }
    let text = |v: f64| format!("{v:.3} (n {})", count(fields));
    (has("value") && has("n")).then(|| number("value").map_or_else(reason, text))
}

fn count(fields: &Map<String, Value>) -> String {
    fields.get("n").map(plain).unwrap_or_default()
}

fn came_true(fields: &Map<String, Value>) -> String {
    let of = |name: &str| {
        fields
            .get("came_true")
            .and_then(|s| s.get(name))
            .map(plain)
            .unwrap_or_default()
    };
    format!("{}/{}", of("num"), of("den"))
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => "-".to_owned(),
        Value::Number(n) if n.is_f64() => {
            n.as_f64().map_or_else(String::new, |v| format!("{v:.2}"))
        }
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

fn spoken(name: &str) -> String {
    name.replace('_', " ")
}
