//! A score as tables for a spreadsheet.

use crate::rows::{Rows, Tally, UnitKind, UnitRow};
use crate::scores::Scores;
use serde_json::{Map, Value};

/// Every figure of a score, one a row: part, figure, value, num, den, low, high, n, reason. Ends are those of the Wilson
/// interval; in the part `intervals` those over units. Of a spread each quantile is a row, of a reliability table its
/// means; the bins stand in the serialised score alone.
///
/// # Errors
/// None on data; what the writers say.
pub fn scores_csv(scores: &Scores) -> Result<Vec<u8>, csv::Error> {
    let mut rows = csv::Writer::from_writer(Vec::new());
    rows.write_record([
        "part", "figure", "value", "num", "den", "low", "high", "n", "reason",
    ])?;
    for record in figures(scores) {
        rows.write_record(&record)?;
    }
    finish(rows)
}

fn figures(scores: &Scores) -> Vec<[String; 9]> {
    let mut records = Vec::new();
    let all = serde_json::to_value(scores).unwrap_or_default();
    for (part, value) in all.as_object().into_iter().flatten() {
        match (part.as_str(), value) {
            ("rows", _) => {}
            ("absolute" | "shift_removed", Value::Object(parts))
                if !parts.contains_key("absent_because") =>
            {
                for (name, value) in parts {
                    walk(&mut records, &format!("{part}.{name}"), "", value);
                }
            }
            ("intervals", Value::Object(fields)) if fields.contains_key("figures") => {
                intervals(&mut records, fields);
            }
            _ => walk(&mut records, part, "", value),
        }
    }
    records
}

fn intervals(records: &mut Vec<[String; 9]>, fields: &Map<String, Value>) {
    let figures = fields.get("figures").and_then(Value::as_array);
    for figure in figures.into_iter().flatten() {
        let name = |key| figure.get(key).map(plain).unwrap_or_default();
        let title = format!("{}.{}", name("part"), name("figure"));
        if let Some(fields) = figure.as_object() {
            records.push(record("intervals", &title, fields));
        }
    }
}

/// Fields of a group that are values of the group itself, in rows of their own.
const OF_GROUPS: [&str; 7] = [
    "mean",
    "median",
    "p90",
    "p95",
    "max",
    "brier",
    "calibration_error",
];

fn walk(records: &mut Vec<[String; 9]>, part: &str, above: &str, value: &Value) {
    let below = |name: &str| match above {
        "" => name.to_owned(),
        _ => format!("{above}.{name}"),
    };
    match value {
        Value::Object(fields) if is_figure(fields) => records.push(record(part, above, fields)),
        Value::Object(fields) => {
            for (name, value) in fields {
                let of_group = OF_GROUPS.contains(&name.as_str()) || name == "stated";
                match value {
                    _ if name == "n" || name == "reason" || name == "bins" => {}
                    Value::Number(_) | Value::Null if of_group => {
                        let mut one = fields.clone();
                        one.insert("value".to_owned(), value.clone());
                        records.push(record(part, &below(name), &one));
                    }
                    _ => walk(records, part, &below(name), value),
                }
            }
        }
        Value::Array(items) => {
            for (at, item) in items.iter().enumerate() {
                let name = item.as_object().and_then(|o| o.values().next());
                let name = match name {
                    Some(Value::String(name)) => name.clone(),
                    Some(Value::Null) => "all".to_owned(),
                    _ => at.to_string(),
                };
                walk(records, part, &below(&name), item);
            }
        }
        Value::Number(_) => {
            let alone = Map::from_iter([("value".to_owned(), value.clone())]);
            records.push(record(part, above, &alone));
        }
        Value::String(text) if above.ends_with("absent_because") => {
            let alone = Map::from_iter([("reason".to_owned(), Value::String(text.clone()))]);
            records.push(record(part, "", &alone));
        }
        _ => {}
    }
}

fn is_figure(fields: &Map<String, Value>) -> bool {
    let has = |name| fields.contains_key(name);
    has("value") && (has("den") || has("n"))
}

fn record(part: &str, figure: &str, fields: &Map<String, Value>) -> [String; 9] {
    let of = |name| fields.get(name).map(plain).unwrap_or_default();
    let [value, num, den, low, high, n, reason] =
        ["value", "num", "den", "low", "high", "n", "reason"].map(of);
    let (part, figure) = (part.to_owned(), figure.to_owned());
    [part, figure, value, num, den, low, high, n, reason]
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// The units, one a row: kind, name, and their tallies.
///
/// # Errors
/// None on data; what the writers say.
pub fn units_csv(rows: &Rows) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    let names = cells(&Tally::default()).into_iter().map(|(name, _)| name);
    let head = ["unit_kind", "unit"].map(str::to_owned);
    out.write_record(head.into_iter().chain(names))?;
    let kinds = [
        (UnitKind::Tree, &rows.trees),
        (UnitKind::Cluster, &rows.cluster_units),
    ];
    for (kind, UnitRow { unit, tally }) in kinds
        .iter()
        .flat_map(|(kind, units)| units.iter().map(move |u| (kind, u)))
    {
        let kind = match kind {
            UnitKind::Tree => "tree",
            UnitKind::Cluster => "cluster",
        };
        let cells = cells(tally).into_iter().map(|(_, cell)| cell);
        out.write_record([kind.to_owned(), unit.clone()].into_iter().chain(cells))?;
    }
    finish(out)
}

fn cells(tally: &Tally) -> Vec<(String, String)> {
    let fields = serde_json::to_value(tally).unwrap_or_default();
    let fields = fields.as_object().into_iter().flatten();
    fields
        .map(|(name, value)| (name.clone(), plain(value)))
        .collect()
}

/// The true clusters, one a row.
///
/// # Errors
/// None on data; what the writers say.
pub fn clusters_csv(rows: &Rows) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(["cluster", "tree", "size", "exact"])?;
    for c in &rows.clusters {
        let (size, exact) = (c.size.to_string(), u8::from(c.exact).to_string());
        let tree = c.tree.as_deref().unwrap_or_default();
        out.write_record([&c.cluster, tree, &size, &exact])?;
    }
    finish(out)
}

/// The images, one a row.
///
/// # Errors
/// None on data; what the writers say.
pub fn frames_csv(rows: &Rows) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "frame",
        "boxes_true",
        "boxes_claimed",
        "boxes_both",
        "boxes_right",
        "errors",
    ])?;
    for f in &rows.frames {
        let counts = [
            f.boxes_true,
            f.boxes_claimed,
            f.boxes_both,
            f.boxes_right,
            f.errors(),
        ];
        let counts = counts.map(|n| n.to_string());
        out.write_record([f.frame.clone()].into_iter().chain(counts))?;
    }
    finish(out)
}

pub(crate) fn finish(rows: csv::Writer<Vec<u8>>) -> Result<Vec<u8>, csv::Error> {
    rows.into_inner().map_err(|e| e.into_error().into())
}
