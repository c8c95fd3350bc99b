//! Scores kept as files, and compared.

use super::{Said, TempDir, copy_folder, desk, files, json, typed};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

const TABLES: [&str; 5] = [
    "clusters.csv",
    "frames.csv",
    "scores.csv",
    "scores.json",
    "trees.csv",
];

fn done(folder: &Path, line: &str) -> Said {
    let said = typed(folder, line);
    assert_eq!(said.code, Some(0), "{line}: {said:?}");
    said
}

/// The shipped run scored (`sound`), and scored again with three fruitlets denied (`worse`).
fn bench() -> TempDir {
    let desk = desk();
    let at = desk.path();
    done(at, "corymb run fixtures/two_trees --out out");
    copy_folder(&at.join("out"), &at.join("out_worse")).unwrap();
    spoil(&at.join("out_worse/map.json"));
    for (out, scored) in [("out", "sound"), ("out_worse", "worse")] {
        done(at, &score_line("fixtures/two_trees", out, scored));
    }
    desk
}

fn score_line(run: &str, out: &str, scored: &str) -> String {
    let truth = if run.starts_with("fixtures") {
        "truth.json.gz"
    } else {
        "truth.json"
    };
    format!("corymb score {run} {out} --truth {run}/{truth} --json --out {scored}")
}

/// Denies the first three fruitlets of a map.
fn spoil(map: &Path) {
    edit(map, |map| {
        for fruitlet in map["fruitlets"].as_array_mut().unwrap().iter_mut().take(3) {
            fruitlet["existence"] = 0.1.into();
        }
    });
}

fn edit(path: &Path, change: impl FnOnce(&mut Value)) {
    let mut value = json(&std::fs::read(path).unwrap());
    change(&mut value);
    std::fs::write(path, value.to_string()).unwrap();
}

/// The rows of a table, each by the names of its head.
fn rows(bytes: &[u8]) -> Vec<BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_reader(bytes);
    let head = reader.headers().unwrap().clone();
    let row = |record: csv::StringRecord| {
        let cells = head.iter().zip(&record);
        cells.map(|(h, c)| (h.to_owned(), c.to_owned())).collect()
    };
    reader.records().map(|r| row(r.unwrap())).collect()
}

#[test]
fn the_files_of_a_score_say_what_it_says() {
    let desk = bench();
    let said = done(
        desk.path(),
        &score_line("fixtures/two_trees", "out", "again"),
    );
    let scores = json(said.stdout.as_bytes());
    let found = files(&desk.path().join("again")).unwrap();
    let names: Vec<&str> = found.keys().map(String::as_str).collect();
    assert_eq!(names, TABLES);
    assert_eq!(
        found,
        files(&desk.path().join("sound")).unwrap(),
        "the same bytes each time"
    );

    let file = json(&found["scores.json"]);
    assert_eq!(file["version"], 1);
    assert_eq!(file["truth"], "truth.json.gz");
    let inputs = file["inputs"].as_object().unwrap();
    assert!(inputs.len() >= 3 && inputs.contains_key("truth.json.gz"));
    assert_eq!(file["rows"], scores["rows"]);
    for (part, figures) in scores.as_object().unwrap() {
        if part != "rows" {
            assert_eq!(&file["figures"][part], figures, "{part}");
        }
    }

    let table = rows(&found["scores.csv"]);
    assert!(table.len() > 150, "{}", table.len());
    let mut compared = 0;
    for (part, figure, at) in [
        (
            "shift_removed.fruitlets",
            "precision",
            "/shift_removed/fruitlets/precision",
        ),
        (
            "shift_removed.clusters",
            "exact",
            "/shift_removed/clusters/exact",
        ),
        (
            "absolute.pairing",
            "stem.right",
            "/absolute/pairing/stem/right",
        ),
        ("association", "bodies.hota", "/association/bodies/hota"),
    ] {
        let row = table
            .iter()
            .find(|r| r["part"] == part && r["figure"] == figure);
        let row = row.unwrap_or_else(|| panic!("no row {part} {figure}"));
        let there = scores.pointer(at).unwrap();
        for field in ["value", "num", "den", "low", "high", "n"] {
            let Some(number) = there[field].as_f64() else {
                continue;
            };
            assert_eq!(row[field].parse::<f64>().unwrap(), number, "{at} {field}");
            compared += 1;
        }
    }
    assert!(compared >= 17, "{compared}");
    let total = |table: &str, column: &str| -> u64 {
        let of_trees = rows(&found[table]).into_iter();
        let of_trees = of_trees.filter(|r| r.get("unit_kind").is_none_or(|k| k == "tree"));
        of_trees.map(|r| r[column].parse::<u64>().unwrap()).sum()
    };
    let bodies = &scores["association"]["bodies"];
    let placed = &scores["shift_removed"];
    for (table, column, number) in [
        ("trees.csv", "fruit_right", &placed["fruitlets"]["right"]),
        (
            "trees.csv",
            "clusters_exact",
            &placed["clusters"]["exact"]["num"],
        ),
        ("trees.csv", "boxes_both", &bodies["boxes_both"]),
        ("clusters.csv", "exact", &placed["clusters"]["exact"]["num"]),
        ("clusters.csv", "size", &scores["truth"]["considered"]),
        ("frames.csv", "boxes_true", &bodies["boxes_true"]),
        ("frames.csv", "boxes_claimed", &bodies["boxes_claimed"]),
    ] {
        assert_eq!(
            Some(total(table, column)),
            number.as_u64(),
            "{table} {column}"
        );
    }
}

#[test]
fn a_spoilt_map_is_worse_in_text_and_files() {
    let desk = bench();
    let said = done(desk.path(), "corymb compare sound worse --out compared");
    assert!(said.stdout.starts_with("worse AGAINST sound\n"), "{said:?}");
    assert!(
        said.stdout
            .contains("clusters in both; common shift removed")
    );
    let found = files(&desk.path().join("compared")).unwrap();
    let names: Vec<&str> = found.keys().map(String::as_str).collect();
    assert_eq!(names, ["changed.csv", "compare.csv", "compare.tex"]);

    let [sound, worse] = ["sound", "worse"].map(|name| {
        let bytes = std::fs::read(desk.path().join(name).join("scores.json")).unwrap();
        json(&bytes)
    });
    let recall = |scores: &Value| {
        scores["figures"]["shift_removed"]["fruitlets"]["recall"]["value"].as_f64()
    };
    let table = rows(&found["compare.csv"]);
    let row = table.iter().find(|r| r["figure"] == "recall").unwrap();
    assert_eq!(row["value_first"].parse().ok(), recall(&sound));
    assert_eq!(row["value_other"].parse().ok(), recall(&worse));
    assert!(row["difference"].parse::<f64>().unwrap() < 0.0);
    assert_eq!(row["unit"], "clusters");

    // what changed, by hand from the tables of both
    let exact = |name: &str| -> BTreeMap<String, String> {
        let bytes = std::fs::read(desk.path().join(name).join("clusters.csv")).unwrap();
        let of = |r: BTreeMap<String, String>| (r["cluster"].clone(), r["exact"].clone());
        rows(&bytes).into_iter().map(of).collect()
    };
    let (before, after) = (exact("sound"), exact("worse"));
    let differing: BTreeSet<&String> = before
        .iter()
        .filter(|(name, exact)| after[*name] != **exact)
        .map(|(name, _)| name)
        .collect();
    let changed = rows(&found["changed.csv"]);
    let told = |what: &str| -> BTreeSet<&String> {
        let those = changed.iter().filter(|r| r["what"] == what);
        those.map(|r| &r["name"]).collect()
    };
    assert!(!differing.is_empty());
    assert_eq!(told("cluster"), differing);
    assert!(!told("image").is_empty());

    // against itself there is nothing, and three at once stand in columns
    let said = done(
        desk.path(),
        "corymb compare sound/scores.json worse sound --out three",
    );
    assert!(said.stdout.contains("sound AGAINST sound/scores.json"));
    let table = std::fs::read(desk.path().join("three/compare.csv")).unwrap();
    for row in rows(&table).iter().filter(|r| r["other"] == "sound") {
        assert!(["", "0"].contains(&row["difference"].as_str()), "{row:?}");
    }
}

#[test]
fn folders_of_runs_are_paired_by_the_names_of_the_folders() {
    let desk = desk();
    let at = desk.path();
    for seed in [1, 2] {
        let field = format!("field_{seed}");
        done(
            at,
            &format!("corymb simulate close --seed {seed} --out {field}"),
        );
        done(at, &format!("corymb run {field} --out a/{seed}"));
        copy_folder(&at.join(format!("a/{seed}")), &at.join(format!("b/{seed}"))).unwrap();
        spoil(&at.join(format!("b/{seed}/map.json")));
        for variant in ["a", "b"] {
            done(
                at,
                &score_line(
                    &field,
                    &format!("{variant}/{seed}"),
                    &format!("scored_{variant}/{seed}"),
                ),
            );
        }
    }
    let said = done(at, "corymb compare scored_a scored_b --out compared");
    assert!(
        said.stderr.contains("paired by the names of their folders"),
        "{said:?}"
    );
    let changed = rows(&std::fs::read(at.join("compared/changed.csv")).unwrap());
    let runs: BTreeSet<&str> = changed.iter().map(|r| r["run"].as_str()).collect();
    assert_eq!(runs, BTreeSet::from(["1", "2"]));
    // seeds exchanged: other inputs under the same name
    std::fs::rename(at.join("scored_b/1"), at.join("scored_b/x")).unwrap();
    std::fs::rename(at.join("scored_b/2"), at.join("scored_b/1")).unwrap();
    let said = typed(at, "corymb compare scored_a scored_b");
    assert_eq!(said.code, Some(2), "{said:?}");
    assert!(said.stderr.contains("inputs-differ"), "{said:?}");
    done(at, "corymb compare scored_a scored_b --across-inputs");
}

/// Each is refused with its code, and nothing is written.
#[test]
fn what_cannot_be_compared_is_refused_with_its_code() {
    let desk = bench();
    let at = desk.path();
    let copied = |name: &str, change: &dyn Fn(&mut Value)| {
        copy_folder(&at.join("sound"), &at.join(name)).unwrap();
        edit(&at.join(name).join("scores.json"), change);
    };
    copied("newer", &|v| v["version"] = 2.into());
    copied("strange", &|v| {
        v["rows"]["trees"][0]["tally"]["fruit_right"] = "many".into();
    });
    copied("no_rows", &|v| v["rows"] = Value::Null);
    copied("other_run", &|v| v["run"] = "another".into());
    copied("absolute", &|v| v["rows"]["placement"] = "absolute".into());
    copied("other_truth", &|v| {
        v["inputs"]["truth.json.gz"] = "0".repeat(64).into();
    });
    copied("renamed_truth", &|v| {
        v["inputs"]
            .as_object_mut()
            .unwrap()
            .remove("truth.json.gz")
            .unwrap();
        v["inputs"]["labels.json"] = "0".repeat(64).into();
        v["truth"] = "labels.json".into();
    });
    std::fs::create_dir(at.join("empty")).unwrap();
    std::fs::write(at.join("words.json"), "no scores").unwrap();
    for (arguments, told) in [
        ("sound missing", "file-missing"),
        ("sound empty", "file-missing"),
        ("sound words.json", "json-syntax"),
        ("sound out/map.json", "field-unknown"),
        ("sound newer", "version-newer"),
        ("sound strange", "type-wrong"),
        ("sound no_rows", "field-missing"),
        ("sound other_run", "nothing-in-common"),
        ("sound absolute", "placement-differs"),
        ("sound other_truth", "inputs-differ"),
        ("sound renamed_truth", "inputs-differ"),
        ("sound", "required"),
        ("missing absent", "absent"),
    ] {
        let said = typed(at, &format!("corymb compare {arguments} --out compared"));
        assert_eq!(said.code, Some(2), "{arguments}: {said:?}");
        assert_eq!(said.stdout, "", "{arguments}");
        assert!(said.stderr.contains(told), "{arguments}: {said:?}");
        assert!(!at.join("compared").exists(), "{arguments}");
    }
}

#[test]
fn a_score_that_fails_leaves_the_old_files() {
    let desk = bench();
    let before = files(&desk.path().join("sound")).unwrap();
    let line =
        "corymb score fixtures/two_trees out --truth fixtures/two_trees/run.json --out sound";
    assert_eq!(typed(desk.path(), line).code, Some(2));
    assert_eq!(files(&desk.path().join("sound")).unwrap(), before);
    // beside a file of that name there can be no folder
    let line = score_line("fixtures/two_trees", "out", "fixtures/two_trees/run.json");
    assert_eq!(typed(desk.path(), &line).code, Some(2));
}
