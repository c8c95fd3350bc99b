//! What every JSON file of an output folder begins with.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The frame in which an output file states its points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(rename = "Frame")]
pub(crate) enum FrameWire {
    Orchard,
}

/// Declares an output file: the header's fields, then its own.
macro_rules! output_file {
    ($(#[$meta:meta])* $name:ident { $( $(#[$field_meta:meta])* $field:ident: $ty:ty, )* }) => {
        #[derive(Debug, Clone, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
        $(#[$meta])*
        pub(crate) struct $name {
            /// 1.
            #[schemars(extend("const" = 1))]
            pub(crate) version: u32,
            /// Version of the program that wrote the file.
            pub(crate) tool_version: String,
            /// Always `orchard`.
            pub(crate) frame: $crate::wire::header::FrameWire,
            /// Input file name -> SHA-256 of its bytes, hexadecimal.
            pub(crate) inputs: $crate::wire::header::Inputs,
            $( $(#[$field_meta])* pub(crate) $field: $ty, )*
        }
    };
}
pub(crate) use output_file;

/// Input file name -> SHA-256 of its bytes, hexadecimal.
pub(crate) type Inputs = BTreeMap<String, String>;
