//! Ranges, and every combination of them.

use corymb_simulate::spec::Override;
use serde_json::{Map, Value};

/// A path with the values that it takes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Range<T> {
    /// The path.
    pub(crate) path: String,
    /// Each value with how rows and tables tell it.
    pub(crate) values: Vec<(String, T)>,
}

/// A combination: how each value is told, and the values, both in the order of the ranges.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Combination<T> {
    pub(crate) told: Vec<String>,
    pub(crate) values: Vec<T>,
}

/// Every combination, the last range fastest; a single empty one without ranges. `None` where there are more than
/// `most`.
pub(crate) fn combinations<T: Clone>(
    ranges: &[Range<T>],
    most: usize,
) -> Option<Vec<Combination<T>>> {
    let counts = ranges.iter().map(|r| r.values.len());
    let all = counts.fold(1_usize, usize::saturating_mul);
    if all > most {
        return None;
    }
    let empty = Combination {
        told: Vec::new(),
        values: Vec::new(),
    };
    Some(ranges.iter().fold(vec![empty], |before, range| {
        let longer = |c: &Combination<T>| {
            let c = c.clone();
            range.values.iter().map(move |(told, value)| {
                let mut next = c.clone();
                next.told.push(told.clone());
                next.values.push(value.clone());
                next
            })
        };
        before.iter().flat_map(longer).collect()
    }))
}

/// The fields of nested tables as paths, in order; whatever is no table is a value. A table that names the form of
/// what it stands for (`kind`, `model`) is a value too.
pub(crate) fn paths(table: &Map<String, Value>) -> Vec<Override> {
    let mut out = Vec::new();
    collect(table, "", &mut out);
    out
}

fn collect(table: &Map<String, Value>, above: &str, out: &mut Vec<Override>) {
    for (name, value) in table {
        let path = if above.is_empty() {
            name.clone()
        } else {
            format!("{above}.{name}")
        };
        match value {
            Value::Object(inner) if !inner.contains_key("kind") && !inner.contains_key("model") => {
                collect(inner, &path, out);
            }
            _ => out.push(Override {
                path,
                value: value.clone(),
            }),
        }
    }
}

/// How a value is told: text as it is, anything else as JSON.
pub(crate) fn told(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(path: &str, values: &[u32]) -> Range<u32> {
        Range {
            path: path.into(),
            values: values.iter().map(|v| (v.to_string(), *v)).collect(),
        }
    }

    #[test]
    fn every_combination_comes_once_the_last_range_fastest() {
        let ranges = [range("a", &[1, 2]), range("b", &[3, 4, 5])];
        let all = combinations(&ranges, 6).expect("six are allowed");
        let values: Vec<&[u32]> = all.iter().map(|c| c.values.as_slice()).collect();
        assert_eq!(values, [[1, 3], [1, 4], [1, 5], [2, 3], [2, 4], [2, 5]]);
        assert_eq!(all[5].told, ["2", "5"]);
        assert_eq!(combinations(&ranges, 5), None);
    }

    #[test]
    fn without_ranges_there_is_one_combination_and_with_an_empty_one_none() {
        assert_eq!(combinations::<u32>(&[], 1).map(|c| c.len()), Some(1));
        assert_eq!(
            combinations(&[range("a", &[])], 1).map(|c| c.len()),
            Some(0)
        );
    }

    #[test]
    fn nested_tables_and_dotted_names_are_the_same() {
        let table: Map<String, Value> = serde_json::from_str(
            r#"{"crop": {"hang": [0, 1]}, "crop.stem_bow": [0.1], "cameras.0.lens": {"model": "none"}}"#,
        )
        .expect("JSON");
        let found: Vec<(String, String)> = paths(&table)
            .into_iter()
            .map(|o| (o.path, told(&o.value)))
            .collect();
        let expected = [
            ("crop.hang", "[0,1]"),
            ("crop.stem_bow", "[0.1]"),
            ("cameras.0.lens", r#"{"model":"none"}"#),
        ];
        assert_eq!(found, expected.map(|(p, v)| (p.to_owned(), v.to_owned())));
    }
}
