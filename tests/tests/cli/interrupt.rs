//! Stopping a run at any moment leaves no half file.

use super::{OUTPUTS, Path, WHOLE, desk, files, json, program, typed};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Moments at which a run is stopped, as parts of how long an undisturbed run takes. What must hold holds at every
/// moment, so nothing here depends on how fast the machine is.
const MOMENTS: u32 = 8;

fn begin(folder: &Path) -> Child {
    super::command(program(), folder, WHOLE)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Either nothing, or complete files: none of them half, none of another run.
fn holds_whole_files_only(out: &Path) -> usize {
    let Ok(found) = files(out) else { return 0 };
    let mut whole = 0;
    for (name, bytes) in found.iter().filter(|(name, _)| !name.ends_with(".partial")) {
        assert!(OUTPUTS.contains(&name.as_str()), "{name}");
        if name.ends_with(".jsonl") {
            assert!(
                bytes.is_empty() || bytes.ends_with(b"\n"),
                "{name} ends in the middle of a line"
            );
            for line in bytes.split(|b| *b == b'\n').filter(|l| !l.is_empty()) {
                json(line);
            }
        } else {
            assert!(json(bytes)["version"] == 1, "{name}");
        }
        whole += 1;
    }
    if found.contains_key("summary.json") {
        assert_eq!(whole, OUTPUTS.len(), "a folder with a summary is complete");
    }
    whole
}

/// Stops a run at several moments and hands each outcome to `after`.
fn stop_at_moments(stop: impl Fn(&mut Child), after: impl Fn(&Path)) {
    let desk = desk();
    let out = desk.path().join("out");
    let started = Instant::now();
    assert!(begin(desk.path()).wait().unwrap().success());
    let undisturbed = started.elapsed();
    assert_eq!(holds_whole_files_only(&out), OUTPUTS.len());
    for moment in 0..=MOMENTS {
        std::fs::remove_dir_all(&out).ok();
        let mut child = begin(desk.path());
        std::thread::sleep(undisturbed * moment / MOMENTS);
        stop(&mut child);
        child.wait().unwrap();
        holds_whole_files_only(&out);
        after(&out);
    }
    // what was left behind is no obstacle
    assert_eq!(typed(desk.path(), WHOLE).code, Some(0));
    let names: Vec<String> = files(&out).unwrap().into_keys().collect();
    assert_eq!(names, OUTPUTS, "and the next run leaves nothing of it");
}

#[test]
fn a_kill_leaves_no_half_file() {
    stop_at_moments(|child| child.kill().unwrap(), |_| ());
}

#[cfg(unix)]
#[test]
fn an_interrupt_leaves_all_files_or_none_and_nothing_partial() {
    let interrupt = |child: &mut Child| {
        // a run that has ended already cannot be found any more, which is fine
        let pid = child.id().to_string();
        Command::new("kill")
            .args(["-INT", &pid])
            .stderr(Stdio::null())
            .status()
            .unwrap();
    };
    stop_at_moments(interrupt, |out| {
        let found = files(out).unwrap_or_default();
        assert!(
            found.keys().all(|name| !name.ends_with(".partial")),
            "{:?}",
            found.keys()
        );
        assert!(
            found.is_empty() || found.len() == OUTPUTS.len(),
            "{:?}",
            found.keys()
        );
    });
}

/// A run whose place for results is taken away between reading and writing ends with a word, not with a panic.
#[test]
fn a_folder_that_vanishes_is_made_again() {
    let desk = desk();
    let mut child = begin(desk.path());
    std::thread::sleep(Duration::from_millis(20));
    std::fs::remove_dir_all(desk.path().join("out")).ok();
    let code = child.wait().unwrap().code();
    assert!(matches!(code, Some(0 | 2)), "{code:?}");
}
