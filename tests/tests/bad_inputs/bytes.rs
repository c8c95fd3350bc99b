//! Folders, files, bytes and grammar.

use crate::{Case, case};

pub(crate) fn cases() -> Vec<Case> {
    vec![
        case!("no such folder", RunElsewhere, "folder-missing" at "elsewhere", |_| ()),
        case!("no run.json", Run, "file-missing" at "run.json", |f| f.remove("run.json")),
        case!("no frames.jsonl", Run, "file-missing" at "frames.jsonl", |f| f.remove("frames.jsonl")),
        case!("no policy", Policy, "file-missing" at "policy.toml", |f| f.remove("policy.toml")),
        case!("no truth", Truth, "file-missing" at "truth.json", |f| f.remove("truth.json")),
        case!("frames plain and packed", Run, "file-twice" at "frames.jsonl", |f| {
            f.put("frames.jsonl.gz", b"anything");
        }),
        case!("run packed in two ways", Run, "file-twice" at "run.json.gz", |f| {
            f.remove("run.json");
            f.put("run.json.gz", b"anything");
            f.put("run.json.zst", b"anything");
        }),
        case!("a folder in place of run.json", Run, "file-unreadable" at "run.json", |f| f.folder_instead("run.json")),
        case!("frames empty", Run, "file-empty" at "frames.jsonl", |f| f.put("frames.jsonl", b"")),
        case!("frames blank", Run, "file-empty" at "frames.jsonl", |f| f.put("frames.jsonl", b"\n\n  \n")),
        case!("run.json empty", Run, "file-empty" at "run.json", |f| f.put("run.json", b"")),
        case!("policy empty", Policy, "file-empty" at "policy.toml", |f| f.put("policy.toml", b"\n")),
        case!("document above the limit", RunTight, "file-too-large" at "orchard.json", |f| {
            f.swap("orchard.json", "\n", &" ".repeat(2000));
        }),
        case!("packed document above the limit", RunTight, "file-too-large" at "run.json.zst", |f| {
            f.swap("run.json", "\n", &" ".repeat(200_000));
            f.pack("run.json", ".zst", 1.0);
        }),
        case!("lines above the limit", RunTight, "file-too-large" at "poses.jsonl", |f| {
            f.append("poses.jsonl", &"\n".repeat(2000));
        }),
        case!("a line above the limit", RunTight, "line-too-long" at "poses.jsonl:3", |f| {
            f.swap("poses.jsonl", "0.8,", &format!("0.8,{}", " ".repeat(1000)));
        }),
        case!("more lines than the limit", RunTight, "too-many-records" at "poses.jsonl", |f| {
            let last = f.text("poses.jsonl").lines().last().unwrap().replace("0.8", "0.9");
            f.append("poses.jsonl", &last);
        }),
        case!("more detections than the limit", RunTight, "too-many-records" at "frames.jsonl", |f| {
            f.swap("frames.jsonl", "[{\"class\"", "[{\"class\": \"leaf\", \"score\": 0.1, \"box_px\": [1, 1, 2, 2]}, {\"class\"");
        }),
        case!("nested lists in a field of one's own", Run, "nesting-too-deep" at "run.json:3 x_deep[0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0][0]", |f| {
            let deep = format!("\"x_deep\": {}{},", "[".repeat(40), "]".repeat(40));
            f.swap("run.json", "\"name\"", &format!("{deep} \"name\""));
        }),
        case!("half a gzip file", Run, "gzip-damaged" at "frames.jsonl.gz", |f| f.pack("frames.jsonl", ".gz", 0.5)),
        case!("no gzip file at all", Run, "gzip-damaged" at "run.json.gz", |f| {
            f.remove("run.json");
            f.put("run.json.gz", b"{\"version\": 1}");
        }),
        case!("half a zstd file", Run, "zstd-damaged" at "poses.jsonl.zst", |f| f.pack("poses.jsonl", ".zst", 0.5)),
        case!("no zstd file at all", Run, "zstd-damaged" at "orchard.json.zst", |f| {
            f.remove("orchard.json");
            f.put("orchard.json.zst", b"{\"version\": 1}");
        }),
        case!("Latin-1 in a document", Run, "not-utf8" at "run.json:3", |f| {
            let text = f.text("run.json");
            let (before, after) = text.split_once("sound").unwrap();
            f.put("run.json", &[before.as_bytes(), b"Obstg\xe4rten", after.as_bytes()].concat());
        }),
        case!("Latin-1 in a line", Run, "not-utf8" at "frames.jsonl:2", |f| {
            let text = f.text("frames.jsonl");
            let (before, after) = text.split_once("right-0").unwrap();
            f.put("frames.jsonl", &[before.as_bytes(), b"right-\xfc", after.as_bytes()].concat());
        }),
        case!("packed without saying so", Run, "not-utf8" at "orchard.json:1", |f| {
            f.pack("orchard.json", ".gz", 1.0);
            f.rename("orchard.json.gz", "orchard.json");
        }),
        case!("byte order mark", Run, "byte-order-mark" at "run.json:1", |f| f.swap("run.json", "{", "\u{feff}{")),
        case!("comma too many", Run, "json-syntax" at "run.json:15", |f| {
            f.swap("run.json", "\"fruitlet\": 0.85}", "\"fruitlet\": 0.85,}");
        }),
        case!("single quotes", Run, "json-syntax" at "frames.jsonl:3", |f| f.swap("frames.jsonl", "\"left-1\"", "'left-1'")),
        case!("two objects on a line", Run, "json-syntax" at "poses.jsonl:1", |f| f.swap("poses.jsonl", "\n", "")),
        case!("a comment in JSON", Run, "json-syntax" at "orchard.json:2", |f| f.swap("orchard.json", "\n", "\n// rows\n")),
        case!("half a surrogate in a name", Run, "json-syntax" at "run.json:3 name", |f| f.swap("run.json", "sound", "\\ud800")),
        case!("last line cut off", Run, "json-truncated" at "frames.jsonl:3", |f| {
            let text = f.text("frames.jsonl");
            f.put("frames.jsonl", &text.as_bytes()[..text.len() - 30]);
        }),
        case!("document cut off", Run, "json-truncated" at "run.json:9", |f| {
            let text = f.text("run.json");
            let end = text.find("\"quaternion_xyzw\"").unwrap();
            f.put("run.json", &text.as_bytes()[..end]);
        }),
        case!("equals sign missing", Policy, "toml-syntax" at "policy.toml:9", |f| {
            f.swap("policy.toml", "keep_at_most = 1", "keep_at_most 1");
        }),
        case!(
            "two slips of grammar",
            Arm,
            [("toml-syntax", "arm.toml:2"), ("toml-syntax", "arm.toml:8")],
            |f| {
                f.swap(
                    "arm.toml",
                    "name = \"cup on three axes\"",
                    "name = \"cup on three axes",
                );
                f.swap("arm.toml", "length_mm = 60.0", "length_mm = 60.0 mm");
            }
        ),
        case!("score twice", Run, "key-twice" at "frames.jsonl:2 detections[0].score", |f| {
            f.swap("frames.jsonl", "\"score\": 0.8,", "\"score\": 0.8, \"score\": 0.9,");
        }),
        case!("name twice", Run, "key-twice" at "run.json:4 name", |f| {
            f.swap("run.json", "\n \"date\"", "\n \"name\": \"again\",\n \"date\"");
        }),
        case!("a TOML key twice", Policy, "key-twice" at "policy.toml:3", |f| {
            f.swap("policy.toml", "\n\n", "\nname = \"again\"\n\n");
        }),
        case!("a list in place of the document", Run, "type-wrong" at "orchard.json:1", |f| f.put("orchard.json", b"[]")),
        case!("a number in place of a line", Run, "type-wrong" at "poses.jsonl:4", |f| f.append("poses.jsonl", "7\n")),
    ]
}
