//! TOML files of any type.

use corymb_formats::{Problems, read_toml, read_toml_checked};
use schemars::JsonSchema;
use serde::Deserialize;
use std::fs;

/// Settings as another crate may have them.
#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Scene {
    version: u32,
    seed: u64,
    kind: Kind,
    rows: Vec<Row>,
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum Kind {
    Close,
    Platform,
}

#[derive(Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Row {
    length_m: f64,
    size_m: [f64; 2],
}

const SOUND: &str = "version = 1\nseed = 7\nkind = \"close\"\nx_note = 1\n\n[[rows]]\nlength_m = 2\nsize_m = [1.0, 2.0]\nx_mine = \"a\"\n";

fn read(text: &str) -> Result<Scene, Problems> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("scene.toml");
    fs::write(&path, text).unwrap();
    read_toml::<Scene>(&path).map(|l| l.value)
}

#[test]
fn fields_of_ones_own_pass_even_where_unknown_ones_are_refused() {
    let scene = read(SOUND).unwrap_or_else(|p| panic!("{p}"));
    assert_eq!(
        scene.rows,
        [Row {
            length_m: 2.0,
            size_m: [1.0, 2.0]
        }]
    );
}

#[test]
fn what_does_not_fit_is_named_with_its_line_and_field() {
    let cases = [
        ("seed", "sede", "field-unknown", 2, "sede"),
        (
            "length_m",
            "lenght_m",
            "field-unknown",
            7,
            "rows[0].lenght_m",
        ),
        ("seed = 7\n", "", "field-missing", 1, "seed"),
        ("\"close\"", "\"clsoe\"", "value-unknown", 3, "kind"),
        (
            "length_m = 2",
            "length_m = \"2\"",
            "type-wrong",
            7,
            "rows[0].length_m",
        ),
        ("[1.0, 2.0]", "[1.0]", "length-wrong", 8, "rows[0].size_m"),
        ("seed = 7", "seed = -7", "number-out-of-range", 2, "seed"),
        (
            "length_m = 2",
            "length_m = nan",
            "number-not-finite",
            7,
            "rows[0].length_m",
        ),
        ("version = 1\n", "", "version-missing", 1, "version"),
        ("version = 1", "version = 2", "version-newer", 1, "version"),
        ("seed = 7", "seed 7", "toml-syntax", 2, ""),
        ("seed = 7", "seed = 7\nseed = 8", "key-twice", 3, ""),
    ];
    for (from, to, code, line, field) in cases {
        let problems = read(&SOUND.replacen(from, to, 1)).unwrap_err();
        let told: Vec<_> = problems
            .list
            .iter()
            .map(|p| (p.code.id(), p.line, p.field.as_str()))
            .collect();
        assert_eq!(
            told,
            [(code, Some(line), field)],
            "{from} -> {to}: {problems}"
        );
    }
    let told = read(&SOUND.replacen("seed", "sede", 1)).unwrap_err();
    assert!(
        told.list[0].what_to_do.starts_with("Did you mean `seed`?"),
        "{told}"
    );
}

#[test]
fn a_type_with_a_schema_gets_all_problems_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("scene.toml");
    fs::write(
        &path,
        SOUND
            .replacen("seed", "sede", 1)
            .replacen("\"close\"", "\"far\"", 1),
    )
    .unwrap();
    let problems = read_toml_checked::<Scene>(&path).unwrap_err();
    let codes: Vec<_> = problems
        .list
        .iter()
        .map(|p| (p.code.id(), p.line))
        .collect();
    assert_eq!(
        codes,
        [
            ("field-unknown", Some(2)),
            ("value-unknown", Some(3)),
            ("field-missing", Some(1))
        ]
    );
}
