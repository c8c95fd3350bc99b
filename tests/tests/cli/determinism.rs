//! The same input gives the same bytes.

use super::{Path, PathBuf, comparable, copy_folder, desk, fixture, typed};
use flate2::read::MultiGzDecoder;
use std::io::{Read, Write};

fn whole(run: &Path, out: &str, more: &str) -> PathBuf {
    let line = format!(
        "corymb run {} --out {out} --policy policy.toml --arm arm.toml --overlays 2 {more}",
        run.display()
    );
    let said = typed(&fixture(), &line);
    assert_eq!(said.code, Some(0), "{said:?}");
    PathBuf::from(out)
}

fn frames_text() -> String {
    let packed = std::fs::read(fixture().join("frames.jsonl.gz")).unwrap();
    let mut text = String::new();
    MultiGzDecoder::new(&packed[..])
        .read_to_string(&mut text)
        .unwrap();
    text
}

#[test]
fn threads_packing_and_the_order_of_lines_change_nothing() {
    let desk = desk();
    let out = |name: &str| desk.path().join(name).display().to_string();
    let one = whole(&fixture(), &out("one"), "--threads 1");
    for threads in [2, 8] {
        let other = whole(
            &fixture(),
            &out(&format!("t{threads}")),
            &format!("--threads {threads}"),
        );
        assert!(
            comparable(&one, false) == comparable(&other, false),
            "1 against {threads} threads"
        );
    }
    let shuffled = desk.path().join("shuffled");
    copy_folder(&fixture(), &shuffled).unwrap();
    std::fs::remove_file(shuffled.join("frames.jsonl.gz")).unwrap();
    let text = frames_text();
    let mut lines: Vec<&str> = text.lines().collect();
    let before = lines.clone();
    let step = 7; // any number without a common divisor shuffles
    lines = (0..lines.len())
        .map(|i| before[(i * step + 3) % before.len()])
        .collect();
    assert_eq!(before.len() % step, 5, "the step visits every line once");
    assert_ne!(lines, before);
    let file = std::fs::File::create(shuffled.join("frames.jsonl.zst")).unwrap();
    let mut packer = zstd::Encoder::new(file, 3).unwrap();
    packer
        .write_all((lines.join("\n") + "\n").as_bytes())
        .unwrap();
    packer.finish().unwrap();
    let other = whole(&shuffled, &out("s"), "--threads 2");
    assert!(
        comparable(&one, true) == comparable(&other, true),
        "lines in another order, packed otherwise"
    );
    assert!(
        comparable(&one, false) != comparable(&other, false),
        "the digests of the inputs do differ"
    );
}

#[test]
fn the_shipped_fixture_is_what_its_scene_and_seed_give() {
    let desk = desk();
    let said = typed(
        desk.path(),
        "corymb simulate two_trees --seed 20 --out again",
    );
    assert_eq!(said.code, Some(0), "{said:?}");
    for name in ["run.json", "orchard.json", "frames.jsonl.gz"] {
        let shipped = std::fs::read(fixture().join(name)).unwrap();
        let again = std::fs::read(desk.path().join("again").join(name)).unwrap();
        assert!(
            shipped == again,
            "{name} is not what the simulator makes today"
        );
    }
}
