//! Text that is borrowed from the line it stands on wherever it has no escapes.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{Deserialize, Deserializer, Error, Visitor};
use serde::{Serialize, Serializer};
use std::borrow::Cow;

/// A string, borrowed where it can be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Word<'a>(pub(crate) Cow<'a, str>);

impl<'de> Deserialize<'de> for Word<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct WordVisitor;
        impl<'de> Visitor<'de> for WordVisitor {
            type Value = Word<'de>;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("text")
            }
            fn visit_borrowed_str<E: Error>(self, text: &'de str) -> Result<Self::Value, E> {
                Ok(Word(Cow::Borrowed(text)))
            }
            fn visit_str<E: Error>(self, text: &str) -> Result<Self::Value, E> {
                Ok(Word(Cow::Owned(text.to_owned())))
            }
        }
        deserializer.deserialize_str(WordVisitor)
    }
}

impl Serialize for Word<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl JsonSchema for Word<'_> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Word".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string" })
    }
}
