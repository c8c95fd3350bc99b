//! Changing single fields of settings by their dotted paths: `detector.edge_white_px`, `cameras.0.tilt_deg`.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use thiserror::Error;

/// Near names told, at most.
const NEAR_AT_MOST: usize = 3;
/// Fields that say which form a table has: a table that names one stands for the whole table.
const FORM_FIELDS: [&str; 2] = ["kind", "model"];

/// A field and its new value.
#[derive(Debug, Clone, PartialEq)]
pub struct Override {
    /// Names of fields and positions in lists (from 0), joined by dots.
    pub path: String,
    /// What is to stand there. A table changes the fields that it names, unless it names a `kind` or `model`: then
    /// it stands for the whole.
    pub value: Value,
}

/// Why a field cannot be changed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum OverrideError {
    /// There is no such field.
    #[error("there is no {path}{}", told_near(.near))]
    UnknownPath {
        /// As given.
        path: String,
        /// Whole paths that may be meant, the likeliest first.
        near: Vec<String>,
    },
    /// The value does not fit the field.
    #[error("{path} cannot be {found}: {because}")]
    Misfit {
        /// As given.
        path: String,
        /// The value, as JSON.
        found: String,
        /// What the field takes.
        because: String,
    },
}

fn told_near(near: &[String]) -> String {
    match near.split_last() {
        None => String::new(),
        Some((only, [])) => format!("; did you mean {only}?"),
        Some((last, before)) => format!("; did you mean {} or {last}?", before.join(", ")),
    }
}

/// `whole` with its fields changed in the order of `overrides`. Only fields that are there can be changed: a list
/// grows or shrinks by being given whole. Ranges are not checked here.
///
/// # Errors
/// All overrides that cannot be applied.
pub fn with_overrides<T: Serialize + DeserializeOwned + Clone>(
    whole: &T,
    overrides: &[Override],
) -> Result<T, Vec<OverrideError>> {
    let mut errors = Vec::new();
    let mut changed = whole.clone();
    for change in overrides {
        match with_one(&changed, change) {
            Ok(next) => changed = next,
            Err(error) => errors.push(error),
        }
    }
    if errors.is_empty() {
        Ok(changed)
    } else {
        Err(errors)
    }
}

fn with_one<T: Serialize + DeserializeOwned>(
    whole: &T,
    change: &Override,
) -> Result<T, OverrideError> {
    let misfit = |e: serde_json::Error| OverrideError::Misfit {
        path: change.path.clone(),
        found: change.value.to_string(),
        because: e.to_string(),
    };
    let mut tree = serde_json::to_value(whole).map_err(misfit)?;
    put(&mut tree, &change.path, "", &change.value)?;
    T::deserialize(tree).map_err(misfit)
}

/// Puts `value` at `path` below `above` of the tree.
fn put(tree: &mut Value, path: &str, above: &str, value: &Value) -> Result<(), OverrideError> {
    let whole = join(above, path);
    let Some(place) = find(tree, &whole) else {
        let near = near(tree, &whole);
        return Err(OverrideError::UnknownPath { path: whole, near });
    };
    match (place.is_object(), value) {
        (true, Value::Object(fields)) if !FORM_FIELDS.iter().any(|f| fields.contains_key(*f)) => {
            for (name, value) in fields {
                put(tree, name, &whole, value)?;
            }
        }
        _ => *place = value.clone(),
    }
    Ok(())
}

fn join(above: &str, below: &str) -> String {
    if above.is_empty() {
        below.to_owned()
    } else {
        format!("{above}.{below}")
    }
}

fn find<'t>(tree: &'t mut Value, path: &str) -> Option<&'t mut Value> {
    path.split('.').try_fold(tree, |place, step| match place {
        Value::Object(fields) => fields.get_mut(step),
        Value::Array(items) => items.get_mut(step.parse::<usize>().ok()?),
        _ => None,
    })
}

/// The known paths nearest to a wrong one: few letters apart as a whole, or in their last name.
fn near(tree: &Value, wrong: &str) -> Vec<String> {
    let mut known = Vec::new();
    list(tree, "", &mut known);
    let last = |path: &str| path.rsplit('.').next().unwrap_or_default().to_owned();
    let apart = |path: &str| {
        let whole = strsim::osa_distance(wrong, path);
        let by_last = strsim::osa_distance(&last(wrong), &last(path));
        let allowed = |distance: usize, of: &str| distance <= (of.chars().count() / 3).max(1);
        if allowed(whole, &last(wrong)) {
            Some(whole)
        } else {
            // a name in another table is less likely meant than a slip of the pen in this one
            allowed(by_last, &last(wrong)).then_some(wrong.len() + by_last)
        }
    };
    let mut near: Vec<(usize, String)> = known
        .into_iter()
        .filter_map(|path| Some((apart(&path)?, path)))
        .collect();
    near.sort();
    let best = near.first().map_or(0, |n| n.0);
    near.retain(|n| n.0 <= best + 1);
    near.truncate(NEAR_AT_MOST);
    near.into_iter().map(|(_, path)| path).collect()
}

/// All paths of a tree that end in a name.
fn list(tree: &Value, above: &str, out: &mut Vec<String>) {
    let mut child = |name: &str, value: &Value| {
        let path = join(above, name);
        if name.parse::<usize>().is_err() {
            out.push(path.clone());
        }
        list(value, &path, out);
    };
    match tree {
        Value::Object(fields) => fields.iter().for_each(|(name, value)| child(name, value)),
        Value::Array(items) => items
            .iter()
            .enumerate()
            .filter(|(_, item)| item.is_object())
            .for_each(|(k, item)| child(&k.to_string(), item)),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::SceneSpec;
    use serde_json::json;

    fn set(path: &str, value: Value) -> Override {
        Override {
            path: path.into(),
            value,
        }
    }

    #[test]
    fn a_field_in_a_table_a_list_and_a_form_is_changed_and_nothing_else() {
        let platform = SceneSpec::platform();
        let changed = with_overrides(
            &platform,
            &[
                set("detector.edge_white_px", json!(2)),
                set("cameras.1.tilt_deg", json!(3.5)),
                set("passes.0.motion.speed_m_s", json!(0.1)),
                set("stage_bbch", json!(74)),
                set("crop.cluster_size_weights.5", json!(0)),
            ],
        );
        let mut expected = platform;
        expected.detector.edge_white_px = 2.0;
        expected.cameras[1].tilt_deg = 3.5;
        if let crate::spec::Motion::AlongRow(motion) = &mut expected.passes[0].motion {
            motion.speed_m_s = 0.1;
        }
        expected.stage_bbch = Some(74);
        expected.crop.cluster_size_weights[5] = 0.0;
        assert_eq!(changed, Ok(expected));
    }

    #[test]
    fn a_table_changes_what_it_names_and_one_with_its_form_stands_for_the_whole() {
        let changed = with_overrides(
            &SceneSpec::platform(),
            &[
                set("leaves", json!({ "per_cluster": 9, "width_ratio": 0.5 })),
                set("cameras.0.lens", json!({ "model": "none" })),
            ],
        );
        let mut expected = SceneSpec::platform();
        expected.leaves.per_cluster = 9.0;
        expected.leaves.width_ratio = 0.5;
        expected.cameras[0].lens = crate::spec::LensSpec::None;
        assert_eq!(changed, Ok(expected));
    }

    #[test]
    fn all_that_is_wrong_is_told_at_once_with_near_names() {
        let errors = with_overrides(
            &SceneSpec::platform(),
            &[
                set("detector.edge_wite_px", json!(2)),
                set("edge_white_px", json!(2)),
                set("cameras.3.tilt_deg", json!(2)),
                set("leaves", json!({ "per_clutter": 1 })),
                set("orchard.trees_per_row", json!(2.5)),
            ],
        )
        .expect_err("none of them fits");
        let told: Vec<String> = errors.iter().map(ToString::to_string).collect();
        assert!(
            told[0].starts_with(
                "there is no detector.edge_wite_px; did you mean detector.edge_white_px?"
            ),
            "{told:#?}"
        );
        assert!(told[1].contains("did you mean detector.edge_white_px?"));
        assert!(
            told[2].contains("there is no cameras.3.tilt_deg; did you mean cameras.0.tilt_deg")
        );
        assert!(
            told[3].contains("there is no leaves.per_clutter; did you mean leaves.per_cluster?")
        );
        assert!(told[4].contains("orchard.trees_per_row cannot be 2.5: invalid type"));
    }
}
