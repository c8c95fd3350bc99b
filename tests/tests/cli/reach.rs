//! The job goes as far as its inputs allow, says so, and ends with the right code.

use super::{OUTPUTS, Path, WHOLE, copy_folder, desk, files, fixture, json, typed};

fn names(folder: &Path) -> Vec<String> {
    files(folder).unwrap().into_keys().collect()
}

#[test]
fn a_whole_run_writes_every_output_and_a_table_that_adds_up() {
    let desk = desk();
    let said = typed(desk.path(), WHOLE);
    assert_eq!(said.code, Some(0), "{said:?}");
    assert_eq!(
        said.stderr, "",
        "nothing to talk about, and no progress into a pipe"
    );
    let out = desk.path().join("out");
    assert_eq!(names(&out), OUTPUTS);
    for (name, schema) in corymb_formats::schemas() {
        let Ok(bytes) = std::fs::read(out.join(format!("{name}.json"))) else {
            continue;
        };
        let validator = jsonschema::validator_for(&schema).unwrap();
        let errors: Vec<String> = (validator.iter_errors(&json(&bytes)))
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
    }
    let summary = json(&std::fs::read(out.join("summary.json")).unwrap());
    assert_eq!(summary["stopped"]["after"], "sequence");
    for stage in [
        "read", "fusion", "clusters", "approach", "thinning", "sequence", "write",
    ] {
        let told = summary["stages"]
            .as_array()
            .unwrap()
            .iter()
            .find(|s| s["name"] == stage);
        assert!(told.unwrap()["seconds"].as_f64().unwrap() >= 0.0, "{stage}");
    }
    assert!(
        summary["settings"]["fusion"].is_object(),
        "settings as used"
    );
    let all = said.stdout.lines().find(|l| l.starts_with("all ")).unwrap();
    let cells: Vec<i64> = all
        .split_whitespace()
        .skip(1)
        .map(|c| c.parse().unwrap())
        .collect();
    let [found, _target, keep, remove, look_again, ordered, refused] = cells[..] else {
        panic!("{all}")
    };
    assert!(found > 50 && ordered > 10, "{all}");
    assert_eq!(found, keep + remove + look_again, "{all}");
    assert_eq!(
        remove,
        ordered + refused,
        "every fruitlet that goes has an order or a reason: {all}"
    );
}

#[test]
fn without_a_policy_the_job_ends_with_the_map_and_without_an_arm_with_decisions() {
    let desk = desk();
    // the same folder, so that what an earlier run wrote and this one does not is gone
    for (line, after, written) in [
        (WHOLE.to_owned(), "sequence", OUTPUTS.to_vec()),
        (
            "corymb run fixtures/two_trees --out out --policy fixtures/two_trees/policy.toml"
                .to_owned(),
            "thinning",
            vec![
                "calibration.json",
                "decisions.json",
                "diagnostics.json",
                "map.json",
                "summary.json",
            ],
        ),
        (
            "corymb run fixtures/two_trees --out out --arm fixtures/two_trees/arm.toml".to_owned(),
            "clusters",
            vec![
                "calibration.json",
                "diagnostics.json",
                "map.json",
                "summary.json",
            ],
        ),
    ] {
        let said = typed(desk.path(), &line);
        assert_eq!(said.code, Some(0), "{said:?}");
        let out = desk.path().join("out");
        assert_eq!(names(&out), written, "{line}");
        let summary = json(&std::fs::read(out.join("summary.json")).unwrap());
        assert_eq!(summary["stopped"]["after"], after);
        let because = summary["stopped"]["because"].as_str().unwrap();
        assert!(
            said.stdout
                .contains(&format!("Last stage: {after}; {because}.")),
            "{}",
            said.stdout
        );
        let cautioned = said.stdout.contains("not a safety function");
        assert_eq!(
            cautioned,
            after == "sequence",
            "cautions stand where orders are written, and only there"
        );
    }
}

#[test]
fn images_without_a_pose_are_counted_left_out_and_end_with_3() {
    let desk = desk();
    let run = desk.path().join("fixtures/two_trees");
    let frames = read_gz(&run.join("frames.jsonl.gz"));
    let mut lines: Vec<serde_json::Value> = frames.lines().map(|l| json(l.as_bytes())).collect();
    let mut poses: Vec<(f64, serde_json::Value)> = lines
        .iter()
        .map(|l| (l["time_s"].as_f64().unwrap(), l["orchard_from_rig"].clone()))
        .collect();
    poses.sort_by(|a, b| a.0.total_cmp(&b.0));
    poses.dedup_by(|a, b| a.0 == b.0);
    let last = poses.last().unwrap().0;
    poses.retain(|(time_s, _)| *time_s < last - 0.2);
    let kept = poses.last().unwrap().0;
    let lost = lines
        .iter()
        .filter(|l| l["time_s"].as_f64().unwrap() > kept + 0.05)
        .count();
    for line in &mut lines {
        line.as_object_mut()
            .unwrap()
            .remove("orchard_from_rig")
            .unwrap();
    }
    let text = |values: &mut dyn Iterator<Item = String>| values.collect::<String>();
    let frames = text(&mut lines.iter().map(|l| format!("{l}\n")));
    let poses = text(&mut poses.iter().map(|(time_s, pose)| {
        format!(
            "{}\n",
            serde_json::json!({"time_s": time_s, "orchard_from_rig": pose})
        )
    }));
    std::fs::remove_file(run.join("frames.jsonl.gz")).unwrap();
    std::fs::write(run.join("frames.jsonl"), frames).unwrap();
    std::fs::write(run.join("poses.jsonl"), poses).unwrap();
    let said = typed(desk.path(), "corymb run fixtures/two_trees --out out");
    assert_eq!(said.code, Some(3), "{said:?}");
    assert!(lost > 0);
    assert!(
        said.stderr
            .contains(&format!("note: {lost} of {} images", lines.len())),
        "{}",
        said.stderr
    );
    let summary = json(&std::fs::read(desk.path().join("out/summary.json")).unwrap());
    assert_eq!(summary["left_out"]["images_without_pose"], lost);
}

fn read_gz(path: &Path) -> String {
    use std::io::Read;
    let packed = std::fs::read(path).unwrap();
    let mut text = String::new();
    flate2::read::MultiGzDecoder::new(&packed[..])
        .read_to_string(&mut text)
        .unwrap();
    text
}

#[test]
fn pictures_are_drawn_on_request_and_old_ones_cleared() {
    let desk = desk();
    let line = "corymb run fixtures/two_trees --out out --overlays";
    for wanted in [5, 2] {
        let said = typed(desk.path(), &format!("{line} {wanted}"));
        assert_eq!(said.code, Some(0), "{said:?}");
        let pictures = files(&desk.path().join("out/overlays")).unwrap();
        assert_eq!(pictures.len(), wanted);
        for (name, bytes) in pictures {
            let text = String::from_utf8(bytes).unwrap();
            assert!(
                name.ends_with(".svg") && text.starts_with("<svg") && text.ends_with("</svg>\n")
            );
            assert!(
                text.matches("class=\"outline\"").count() > 5,
                "{name} shows the map"
            );
            assert!(
                text.matches("<rect class=\"body\"").count() > 5,
                "{name} shows the boxes"
            );
        }
    }
}

#[test]
fn a_pin_that_names_nothing_is_told_and_stops_nothing() {
    let desk = desk();
    let policy = desk.path().join("policy.toml");
    let text = std::fs::read_to_string(fixture().join("policy.toml")).unwrap();
    std::fs::write(
        &policy,
        text + "\n[[pin]]\nlimb = \"no-such-limb\"\nas = \"keep\"\n",
    )
    .unwrap();
    let said = typed(
        desk.path(),
        "corymb run fixtures/two_trees --out out --policy policy.toml",
    );
    assert_eq!(said.code, Some(0), "{said:?}");
    assert!(
        said.stderr.contains("limb \"no-such-limb\""),
        "{}",
        said.stderr
    );
}

#[test]
fn an_output_is_scored_against_the_truth_of_its_own_run_only() {
    let desk = desk();
    assert_eq!(typed(desk.path(), WHOLE).code, Some(0));
    let score = "corymb score fixtures/two_trees out --truth fixtures/two_trees/truth.json.gz \
                 --policy fixtures/two_trees/policy.toml --arm fixtures/two_trees/arm.toml";
    let said = typed(desk.path(), &format!("{score} --json"));
    assert_eq!(said.code, Some(0), "{said:?}");
    let scores = json(said.stdout.as_bytes());
    let recall = &scores["shift_removed"]["fruitlets"]["recall"];
    let share = recall["value"].as_f64().unwrap();
    assert!(share > 0.7 && share <= 1.0, "{recall}");
    let table = typed(desk.path(), score);
    assert_eq!(table.code, Some(0));
    assert!(table.stdout.lines().count() > 20, "{}", table.stdout);
    // another policy than the one the output was made with
    let other = desk.path().join("fixtures/two_trees/policy.toml");
    let text = std::fs::read_to_string(&other).unwrap();
    std::fs::write(&other, text.replace("keep_at_most = 1", "keep_at_most = 2")).unwrap();
    let stale = typed(desk.path(), score);
    assert_eq!(stale.code, Some(2), "{stale:?}");
    assert!(stale.stderr.contains("[inputs-differ]"), "{}", stale.stderr);
}

#[test]
fn a_simulated_scene_is_found_again() {
    let desk = desk();
    let scene = corymb_tests::workspace().join("fixtures/scenes/two_trees.toml");
    let simulate = format!("corymb simulate {} --seed 5 --out field", scene.display());
    assert_eq!(typed(desk.path(), &simulate).code, Some(0));
    assert_eq!(
        typed(desk.path(), "corymb check field --truth field/truth.json").code,
        Some(0)
    );
    let mut copy = desk.path().join("copy");
    copy_folder(&desk.path().join("field"), &copy).unwrap();
    assert_eq!(
        typed(
            desk.path(),
            "corymb simulate two_trees --seed 5 --out again"
        )
        .code,
        Some(0)
    );
    assert!(
        files(&copy).unwrap() == files(&desk.path().join("again")).unwrap(),
        "file and built-in kind agree"
    );
    copy.push("truth.json");
    assert!(copy.is_file());
}
