//! The published schemas: the same as the types, and true of what is written and read.

use corymb_formats::schemas;
use corymb_tests::workspace;
use serde_json::Value;
use std::fs;
use std::path::PathBuf;

fn folder() -> PathBuf {
    workspace().join("fixtures/schemas")
}

fn text(schema: &Value) -> String {
    format!("{}\n", serde_json::to_string_pretty(schema).unwrap())
}

/// `UPDATE_SCHEMAS=1 cargo test -p corymb-tests --test schemas` writes the files anew.
#[test]
fn published_schemas_are_those_of_the_types() {
    if std::env::var_os("UPDATE_SCHEMAS").is_some() {
        fs::create_dir_all(folder()).unwrap();
        for (name, schema) in schemas() {
            fs::write(folder().join(format!("{name}.schema.json")), text(&schema)).unwrap();
        }
    }
    let mut expected: Vec<String> = schemas().iter().map(|(name, _)| format!("{name}.schema.json")).collect();
    let mut present: Vec<String> =
        fs::read_dir(folder()).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    expected.sort();
    present.sort();
    assert_eq!(present, expected);
    for (name, schema) in schemas() {
        let published = fs::read_to_string(folder().join(format!("{name}.schema.json"))).unwrap();
        assert_eq!(published, text(&schema), "{name}: run with UPDATE_SCHEMAS=1 and look at the difference");
    }
}
