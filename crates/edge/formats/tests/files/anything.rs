//! Whatever the bytes, reading ends with a run or with problems that name a place, and never with a panic.

use crate::samples::sound;
use corymb_formats::{Problems, all_codes, explain, read_arm, read_policy, read_run, read_truth};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

/// Puts `bytes` in place of a part of the text, both given as shares of its length.
fn spoil(text: &[u8], from: f64, length: f64, bytes: &[u8]) -> Vec<u8> {
    // a share of a length
    let at = |share: f64| (share * text.len() as f64) as usize;
    let start = at(from).min(text.len());
    let end = (start + at(length * 0.05)).min(text.len());
    [&text[..start], bytes, &text[end..]].concat()
}

fn copy_sound(dir: &Path) {
    for name in [
        "run.json",
        "frames.jsonl",
        "poses.jsonl",
        "orchard.json",
        "truth.json",
        "policy.toml",
        "arm.toml",
    ] {
        fs::copy(sound().join(name), dir.join(name)).unwrap();
    }
}

fn assert_told(problems: &Problems) {
    assert!(!problems.is_empty());
    for problem in &problems.list {
        assert!(
            !problem.file.is_empty() && !problem.expected.is_empty() && !problem.found.is_empty(),
            "{problem:?}"
        );
        assert!(
            !problem.what_to_do.is_empty() && !problem.to_string().contains('\n'),
            "{problem:?}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn spoilt_files_are_read_or_told(
        which in 0usize..7,
        from in 0.0f64..1.0,
        length in 0.0f64..1.0,
        bytes in prop_oneof![
            proptest::collection::vec(any::<u8>(), 0..6),
            "[\\[\\]{}\",:0-9a-z.\\-]{0,6}".prop_map(String::into_bytes),
            Just(b"null".to_vec()),
            Just(b"1e999".to_vec()),
            Just(b"NaN".to_vec()),
            Just(b"\"".to_vec()),
        ],
    ) {
        let names = ["run.json", "frames.jsonl", "poses.jsonl", "orchard.json", "truth.json", "policy.toml", "arm.toml"];
        let dir = tempfile::tempdir().unwrap();
        copy_sound(dir.path());
        let run = read_run(dir.path()).unwrap().run;
        let path = dir.path().join(names[which]);
        fs::write(&path, spoil(&fs::read(&path).unwrap(), from, length, &bytes)).unwrap();
        let told = match which {
            4 => read_truth(&path, &run).err(),
            5 => read_policy(&path).err(),
            6 => read_arm(&path).err(),
            _ => read_run(dir.path()).err(),
        };
        if let Some(problems) = told {
            assert_told(&problems);
        }
    }
}

#[test]
fn a_field_without_a_name_is_told_as_one() {
    let dir = tempfile::tempdir().unwrap();
    copy_sound(dir.path());
    let path = dir.path().join("run.json");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen('{', "{\"\": 1,", 1)).unwrap();
    let problems = read_run(dir.path()).unwrap_err();
    assert_told(&problems);
    assert_eq!(problems.list[0].found, "\"\"");
}

#[test]
fn every_code_is_explained_once_and_in_full() {
    let mut ids: Vec<_> = all_codes().iter().map(|c| c.id()).collect();
    for id in &ids {
        let entry = explain(id).unwrap();
        assert_eq!(entry.code.id(), *id);
        assert!(
            !entry.title.is_empty() && !entry.cause.is_empty() && !entry.action.is_empty(),
            "{id}"
        );
        assert!(!entry.bad_example.is_empty(), "{id}");
        assert!(
            id.chars()
                .all(|c| c.is_ascii_lowercase() || c == '-' || c.is_ascii_digit()),
            "{id}"
        );
    }
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count);
    assert!(explain("no-such-code").is_none());
}
