//! What is wrong is said once, completely and with the right code.

use super::{Command, Path, Stdio, WHOLE, desk, files, json, program, typed};
use std::io::BufRead;

#[test]
fn usage_errors_end_with_2_and_help_with_0() {
    let desk = desk();
    for line in [
        "corymb",
        "corymb nonsense",
        "corymb run",
        "corymb run fixtures/two_trees",
        "corymb run fixtures/two_trees --out out --threads 0",
        "corymb run fixtures/two_trees --out out --threads many",
        "corymb simulate two_trees --out out",
        "corymb simulate no_such_kind --seed 1 --out out",
        "corymb explain no-such-code",
    ] {
        let said = typed(desk.path(), line);
        assert_eq!(said.code, Some(2), "{line}: {said:?}");
        assert_eq!(said.stdout, "", "{line}: errors are talk");
        assert!(!said.stderr.is_empty(), "{line}");
    }
    for line in [
        "corymb --help",
        "corymb run --help",
        "corymb --version",
        "corymb help score",
    ] {
        let said = typed(desk.path(), line);
        assert_eq!((said.code, said.stderr.as_str()), (Some(0), ""), "{line}");
    }
    assert!(!desk.path().join("out").exists());
}

#[test]
fn problems_of_all_files_are_listed_at_once_and_nothing_is_written() {
    let desk = desk();
    let run = desk.path().join("fixtures/two_trees");
    edit(&run.join("run.json"), "\"width_px\"", "\"widht_px\"");
    edit(
        &run.join("policy.toml"),
        "keep_at_most = 1",
        "keep_at_most = 0",
    );
    edit(
        &run.join("arm.toml"),
        "length_mm = 55.0",
        "length_mm = -55.0",
    );
    for line in [
        WHOLE.to_owned(),
        WHOLE.replace("run", "check").replace(" --out out", ""),
    ] {
        let line = line.replace("fixtures/two_trees/frames", "fixtures/two_trees");
        let said = typed(desk.path(), &line);
        assert_eq!(said.code, Some(2), "{said:?}");
        for told in [
            "run.json",
            "widht_px",
            "policy.toml",
            "keep_at_most",
            "arm.toml",
            "length_mm",
            "corymb explain ",
        ] {
            assert!(said.stderr.contains(told), "{told}: {}", said.stderr);
        }
        assert!(!desk.path().join("out").exists(), "{line}");
    }
}

fn edit(path: &Path, from: &str, to: &str) {
    let text = std::fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "{from}");
    std::fs::write(path, text.replace(from, to)).unwrap();
}

#[test]
fn an_output_folder_that_cannot_be_made_is_said_with_2() {
    let desk = desk();
    std::fs::write(desk.path().join("out"), "a file in the way").unwrap();
    let said = typed(desk.path(), "corymb run fixtures/two_trees --out out");
    assert_eq!(said.code, Some(2), "{said:?}");
    assert_eq!(
        std::fs::read_to_string(desk.path().join("out")).unwrap(),
        "a file in the way"
    );
}

#[test]
fn every_code_has_a_page_and_the_list_names_it() {
    let desk = desk();
    let list = typed(desk.path(), "corymb explain");
    assert_eq!(list.code, Some(0));
    let codes: Vec<&str> = list
        .stdout
        .lines()
        .skip(1)
        .filter_map(|l| l.split_whitespace().next())
        .collect();
    assert_eq!(codes.len(), corymb_formats::all_codes().len());
    assert!(codes.len() > 40);
    for code in codes.iter().step_by(10) {
        let page = typed(desk.path(), &format!("corymb explain {code}"));
        assert_eq!(page.code, Some(0), "{code}");
        for part in [code, "Why it comes about:", "What to do:", "For example:"] {
            assert!(page.stdout.contains(part), "{code}: {}", page.stdout);
        }
    }
}

#[test]
fn a_reader_who_has_enough_is_no_error() {
    let desk = desk();
    for line in ["corymb explain", "corymb --help", WHOLE] {
        let mut child = super::command(program(), desk.path(), line)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take()); // closed before anything is written
        let said = super::Said::from(child.wait_with_output().unwrap());
        assert_eq!((said.code, said.stderr.as_str()), (Some(0), ""), "{line}");
    }
    assert_eq!(
        files(&desk.path().join("out")).unwrap().len(),
        super::OUTPUTS.len(),
        "the files are written all the same"
    );
}

#[test]
fn progress_can_be_had_as_json_lines() {
    let desk = desk();
    let said = Command::new(program())
        .current_dir(desk.path())
        .args([
            "run",
            "fixtures/two_trees",
            "--out",
            "out",
            "--progress",
            "json",
        ])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .output()
        .unwrap();
    let told: Vec<String> = said
        .stderr
        .lines()
        .map(|l| json(l.unwrap().as_bytes()))
        .map(|e| {
            format!(
                "{} {}",
                e["event"].as_str().unwrap(),
                e["stage"].as_str().unwrap()
            )
        })
        .collect();
    let expected =
        ["read", "fusion", "clusters", "write"].map(|s| [format!("begin {s}"), format!("end {s}")]);
    assert_eq!(told, expected.concat());
}
