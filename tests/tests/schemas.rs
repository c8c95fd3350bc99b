//! The published schemas: the same as the types, true of what is written and read, and of one mind with the readers.
#![allow(clippy::unwrap_used, clippy::panic)] // a helper of a test may fail as the test does

use corymb_formats::{read_arm, read_output, read_run, read_truth, schemas};
use corymb_model::arm::ArmSetup;
use corymb_model::run::Run;
use corymb_tests::workspace;
use jsonschema::Validator;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;

fn folder() -> PathBuf {
    workspace().join("fixtures/schemas")
}

fn sound() -> PathBuf {
    workspace().join("fixtures/bad/sound")
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
    let mut expected: Vec<String> = schemas()
        .iter()
        .map(|(name, _)| format!("{name}.schema.json"))
        .collect();
    let mut present: Vec<String> = fs::read_dir(folder())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    expected.sort();
    present.sort();
    assert_eq!(present, expected);
    for (name, schema) in schemas() {
        let published = fs::read_to_string(folder().join(format!("{name}.schema.json"))).unwrap();
        assert!(
            published == text(&schema),
            "{name}: run with UPDATE_SCHEMAS=1 and look at the difference"
        );
    }
}

/// A validator by a general library, from the published file.
fn validators() -> BTreeMap<&'static str, Validator> {
    let validator = |name: &str| {
        let text = fs::read_to_string(folder().join(format!("{name}.schema.json"))).unwrap();
        let schema: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(
            schema["$schema"],
            "https://json-schema.org/draft/2020-12/schema"
        );
        jsonschema::validator_for(&schema).unwrap()
    };
    schemas()
        .iter()
        .map(|(name, _)| (*name, validator(name)))
        .collect()
}

/// Sound instances by schema, and the files they stand in.
fn instances() -> Vec<(&'static str, &'static str, Value)> {
    let files = [
        ("run", "run.json"),
        ("frames", "frames.jsonl"),
        ("poses", "poses.jsonl"),
        ("orchard", "orchard.json"),
        ("truth", "truth.json"),
        ("policy", "policy.toml"),
        ("arm", "arm.toml"),
        ("map", "out/map.json"),
        ("decisions", "out/decisions.json"),
        ("orders", "out/orders.jsonl"),
        ("refusals", "out/refusals.jsonl"),
        ("calibration", "out/calibration.json"),
        ("diagnostics", "out/diagnostics.json"),
        ("summary", "out/summary.json"),
    ];
    let mut all = Vec::new();
    for (schema, file) in files {
        let text = fs::read_to_string(sound().join(file)).unwrap();
        if file.ends_with("toml") {
            all.push((schema, file, toml::from_str(&text).unwrap()));
        } else if file.ends_with("jsonl") {
            all.extend(
                text.lines()
                    .map(|line| (schema, file, serde_json::from_str(line).unwrap())),
            );
        } else {
            all.push((schema, file, serde_json::from_str(&text).unwrap()));
        }
    }
    all
}

#[test]
fn sound_files_are_valid() {
    let validators = validators();
    for (schema, file, instance) in instances() {
        let errors: Vec<String> = validators[schema]
            .iter_errors(&instance)
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{file}: {errors:?}");
    }
    assert_eq!(
        instances()
            .iter()
            .map(|i| i.0)
            .collect::<BTreeSet<_>>()
            .len(),
        schemas().len()
    );
}

/// Codes by which a reader speaks of the shape alone.
const SHAPE_ALONE: [&str; 4] = [
    "field-unknown",
    "type-wrong",
    "length-wrong",
    "value-unknown",
];
/// Codes by which it speaks of the shape or of what makes sense.
const SHAPE_OR_SENSE: [&str; 5] = [
    "field-missing",
    "number-out-of-range",
    "version-missing",
    "version-newer",
    "version-wrong",
];

/// The sound files in a folder where one of them can be replaced at a time.
struct Bench {
    dir: tempfile::TempDir,
    run: Run,
    arm: ArmSetup,
}

impl Bench {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir_all(dir.path().join("out")).unwrap();
        for folder in ["", "out"] {
            let entries = fs::read_dir(sound().join(folder))
                .unwrap()
                .map(|e| e.unwrap());
            for entry in entries.filter(|e| e.path().is_file()) {
                fs::copy(
                    entry.path(),
                    dir.path().join(folder).join(entry.file_name()),
                )
                .unwrap();
            }
        }
        let run = read_run(dir.path()).unwrap().run;
        let arm = read_arm(&dir.path().join("arm.toml")).unwrap().value;
        Self { dir, run, arm }
    }

    /// Codes of all problems told when `instance` stands in place of the first record of `file`.
    fn told(&self, file: &str, instance: &Value) -> Vec<&'static str> {
        let path = self.dir.path().join(file);
        let before = fs::read_to_string(&path).unwrap();
        let text = if file.ends_with("jsonl") {
            let rest: Vec<&str> = before.lines().skip(1).collect();
            format!("{instance}\n{}\n", rest.join("\n"))
        } else {
            instance.to_string()
        };
        fs::write(&path, text).unwrap();
        let problems = match file {
            "truth.json" => read_truth(&path, &self.run).err(),
            _ if file.starts_with("out/") => {
                read_output(&self.dir.path().join("out"), &self.run, Some(&self.arm)).err()
            }
            _ => read_run(self.dir.path()).err(),
        };
        fs::write(&path, before).unwrap();
        problems
            .map(|p| p.list.iter().map(|q| q.code.id()).collect())
            .unwrap_or_default()
    }
}

/// Every way to spoil one place of an instance: the value removed, replaced, renamed, or something put beside it.
fn spoilt(instance: &Value) -> Vec<(String, Value)> {
    let mut all = Vec::new();
    let mut pointers = vec![String::new()];
    collect(instance, "", &mut pointers);
    for pointer in pointers {
        for wrong in [Value::Null, json!("word"), json!(-7), json!(2.5), json!({})] {
            let mut copy = instance.clone();
            *copy.pointer_mut(&pointer).unwrap() = wrong.clone();
            all.push((format!("{pointer} = {wrong}"), copy));
        }
        let mut copy = instance.clone();
        match copy.pointer_mut(&pointer).unwrap() {
            Value::Object(fields) => {
                fields.insert("strange".to_owned(), json!(1));
                all.push((format!("{pointer} + strange"), copy));
                let mut own = instance.clone();
                own.pointer_mut(&pointer)
                    .unwrap()
                    .as_object_mut()
                    .unwrap()
                    .insert("x_own".to_owned(), json!(1));
                all.push((format!("{pointer} + x_own"), own));
            }
            Value::Array(list) => {
                let more = list.first().cloned().unwrap_or_default();
                list.push(more);
                all.push((format!("{pointer} longer"), copy));
            }
            _ => {}
        }
        if let Some((parent, key)) = pointer.rsplit_once('/') {
            let mut copy = instance.clone();
            if let Value::Object(fields) = copy.pointer_mut(parent).unwrap() {
                fields.remove(&key.replace("~1", "/").replace("~0", "~"));
                all.push((format!("without {pointer}"), copy));
            }
        }
    }
    all
}

/// Pointers of all values inside; of a list only the first entry, the others are like it.
fn collect(value: &Value, at: &str, out: &mut Vec<String>) {
    let mut inside: Vec<(String, &Value)> = Vec::new();
    match value {
        Value::Object(fields) => inside.extend(
            fields
                .iter()
                .map(|(k, v)| (k.replace('~', "~0").replace('/', "~1"), v)),
        ),
        Value::Array(list) => inside.extend(list.first().map(|v| ("0".to_owned(), v))),
        _ => {}
    }
    for (key, value) in inside {
        let pointer = format!("{at}/{key}");
        out.push(pointer.clone());
        collect(value, &pointer, out);
    }
}

/// Left out: TOML, which has no null, and settings, which may hold anything.
fn outside_the_comparison(file: &str, what: &str) -> bool {
    file.ends_with("toml") || what.trim_start_matches("without ").starts_with("/settings")
}

/// The schema and the reader agree about the shape; what a schema cannot say (ranges, names) is the reader's own.
fn agree(valid: bool, told: &[&str]) -> bool {
    let shape = |codes: &[&str]| told.iter().any(|c| codes.contains(c));
    if valid {
        !shape(&SHAPE_ALONE)
    } else {
        shape(&SHAPE_ALONE) || shape(&SHAPE_OR_SENSE)
    }
}

#[test]
fn readers_and_schemas_are_of_one_mind() {
    let (validators, bench) = (validators(), Bench::new());
    let mut compared = 0;
    let mut apart = Vec::new();
    let mut seen = BTreeSet::new();
    for (schema, file, instance) in instances() {
        if !seen.insert(file) {
            continue; // the first record of a file stands for the others
        }
        for (what, spoilt) in spoilt(&instance) {
            if outside_the_comparison(file, &what) {
                continue;
            }
            let told = bench.told(file, &spoilt);
            let valid = validators[schema].is_valid(&spoilt);
            compared += 1;
            if !agree(valid, &told) {
                apart.push(format!(
                    "{file} {what}: schema says {valid}, reader says {told:?}"
                ));
            }
        }
    }
    assert!(compared > 1500, "only {compared} compared");
    assert!(
        apart.is_empty(),
        "{} of {compared}:\n{}",
        apart.len(),
        apart.join("\n")
    );
}
