//! JSON Schemas (draft 2020-12) of every file, from the types that read and write them.

use crate::wire;
use schemars::generate::SchemaSettings;
use schemars::transform::{Transform, transform_subschemas};
use schemars::{JsonSchema, Schema};
use serde_json::{Value, json};

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
        if let Some(object) = schema.as_object_mut() {
            if object.contains_key("properties") {
                object
                    .entry("patternProperties")
                    .or_insert(json!({ "^x_": true }));
                object.insert("additionalProperties".to_owned(), Value::Bool(false));
            }
        }
    }
}
