//! JSON Schemas (draft 2020-12) of every file, from the types that read and write them.

use crate::wire;
use schemars::generate::SchemaSettings;
use schemars::transform::{Transform, transform_subschemas};
use schemars::{JsonSchema, Schema};
use serde_json::{Map, Value, json};

/// The schema of what `T` reads: fields beginning with `x_` pass, other unknown ones do not.
pub(crate) fn schema_of<T: JsonSchema>() -> Schema {
    SchemaSettings::draft2020_12()
        .with_transform(OwnFields)
        .into_generator()
        .into_root_schema_for::<T>()
}

/// Closes every object to unknown fields but those that begin with `x_`.
#[derive(Debug, Clone)]
struct OwnFields;

impl Transform for OwnFields {
    fn transform(&mut self, schema: &mut Schema) {
        transform_subschemas(self, schema);
        let object = schema.as_object_mut();
        if let Some(object) = object.filter(|o| o.contains_key("properties")) {
            object
                .entry("patternProperties")
                .or_insert(json!({ "^x_": true }));
            object.insert("additionalProperties".to_owned(), Value::Bool(false));
        }
    }
}

/// The schema of every file: name of the schema without `.schema.json`, and the schema. Of a `.jsonl` file it is the
/// schema of one line.
#[must_use]
pub fn schemas() -> Vec<(&'static str, Value)> {
    vec![
        ("run", published::<wire::run::RunFile>("run.json")),
        (
            "frames",
            published::<wire::frames::FrameLine<'static>>("a line of frames.jsonl"),
        ),
        (
            "poses",
            published::<wire::frames::PoseLine>("a line of poses.jsonl"),
        ),
        (
            "orchard",
            published::<wire::orchard::OrchardFile>("orchard.json"),
        ),
        ("truth", published::<wire::truth::TruthFile>("truth.json")),
        (
            "policy",
            published::<wire::policy::PolicyFile>("policy.toml"),
        ),
        ("arm", published::<wire::arm::ArmFile>("arm.toml")),
        ("map", published::<wire::map::MapFile>("map.json")),
        (
            "decisions",
            published::<wire::decisions::DecisionsFile>("decisions.json"),
        ),
        (
            "orders",
            published::<wire::orders::OrderLine>("a line of orders.jsonl"),
        ),
        (
            "refusals",
            published::<wire::orders::RefusalLine>("a line of refusals.jsonl"),
        ),
        (
            "calibration",
            published::<wire::calibration::CalibrationFile>("calibration.json"),
        ),
        (
            "diagnostics",
            published::<wire::diagnostics::DiagnosticsFile>("diagnostics.json"),
        ),
        (
            "summary",
            published::<wire::summary::SummaryFile>("summary.json"),
        ),
    ]
}

/// The schema with what it is for at its top.
fn published<T: JsonSchema>(of: &str) -> Value {
    let schema = schema_of::<T>().to_value();
    let mut ordered = Map::new();
    ordered.insert(
        "$schema".to_owned(),
        schema.get("$schema").cloned().unwrap_or_default(),
    );
    ordered.insert(
        "title".to_owned(),
        Value::String(format!("corymb: {of}, version 1")),
    );
    for (key, value) in schema.as_object().into_iter().flatten() {
        if key != "title" {
            ordered.entry(key).or_insert_with(|| value.clone());
        }
    }
    Value::Object(ordered)
}
