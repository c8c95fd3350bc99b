//! The fixtures, and studies that cannot be used.

use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use corymb_simulate::SceneSpec;
use corymb_simulate::spec::{DetectorFile, ErrorsFile, RigFile};
use corymb_study::{Files, ProblemKind, StudyFile};
use std::path::{Path, PathBuf};

pub(crate) fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../fixtures")
}

pub(crate) fn text(file: &Path) -> Option<String> {
    std::fs::read_to_string(file).ok()
}

/// Files of `fixtures/studies`; policy and arm are not read here.
pub(crate) struct Fixtures;

fn content<T: serde::de::DeserializeOwned>(file: &str) -> Option<T> {
    let text = text(&fixtures().join("studies").join(file))?;
    Some(toml::from_str(&text).unwrap_or_else(|e| panic!("{file}: {e}")))
}

impl Files for Fixtures {
    fn scene(&mut self, file: &str) -> Option<SceneSpec> {
        content(file)
    }
    fn rig(&mut self, file: &str) -> Option<RigFile> {
        content(file)
    }
    fn detector(&mut self, file: &str) -> Option<DetectorFile> {
        content(file)
    }
    fn errors(&mut self, file: &str) -> Option<ErrorsFile> {
        content(file)
    }
    fn policy(&mut self, _file: &str) -> Option<Policy> {
        None
    }
    fn arm(&mut self, _file: &str) -> Option<ArmSetup> {
        None
    }
}

pub(crate) fn study_file(name: &str) -> StudyFile {
    content(name).unwrap_or_else(|| panic!("{name} is not there"))
}

#[test]
fn all_that_is_wrong_with_a_study_is_told_at_once() {
    let file: StudyFile = toml::from_str(
        r#"
        version = 2
        name = ""
        seeds = { count = 0 }
        arm = "arm.toml"
        figures = { f1 = "absolute.fruitlets.f1" }
        [[scene]]
        kind = "two_tree"
        [[scene]]
        kind = "two_trees"
        set = { "leaves.per_clutter" = 3 }
        [[scene]]
        kind = "platform"
        [[scene]]
        name = "platform"
        file = "../scenes/close.toml"
        kind = "close"
        [vary]
        "detector.edge_white_px" = [1, -1]
        "leaves.per_cluster" = []
        [vary_settings]
        "fusion.rounds" = [1, 2.5]
        "#,
    )
    .unwrap();
    let problems = file.resolve(&mut Fixtures).unwrap_err();
    let told: Vec<(ProblemKind, &str)> = problems
        .iter()
        .map(|p| (p.kind, p.field.as_str()))
        .collect();
    let expected = [
        (ProblemKind::Range, "version"),
        (ProblemKind::Missing, "name"),
        (ProblemKind::Range, "seeds.count"),
        (ProblemKind::Missing, "arm"),
        (ProblemKind::WordUnknown, "scene[0].kind"),
        (ProblemKind::PathUnknown, "scene[1].set.leaves.per_clutter"),
        (ProblemKind::Twice, "scene[3].name"),
        (ProblemKind::Missing, "scene[3]"),
        (ProblemKind::Empty, "vary.leaves.per_cluster"),
        (ProblemKind::Type, "vary_settings.fusion.rounds"),
        (ProblemKind::Twice, "figures.f1"),
    ];
    assert_eq!(told, expected, "{problems:#?}");
}

#[test]
fn a_range_that_makes_no_scene_is_told_once_for_each_scene() {
    let mut file = study_file("tiny.toml");
    file.vary
        .insert("detector.edge_white_px".into(), serde_json::json!([1, -1]));
    let problems = file.resolve(&mut Fixtures).unwrap_err();
    assert_eq!(problems.len(), 1, "{problems:#?}");
    assert_eq!(problems[0].field, "scene one tree: detector.edge_white_px");
    assert_eq!(problems[0].found, "-1.0");
}

#[test]
fn a_file_that_cannot_be_had_stops_the_study() {
    let mut file = study_file("tiny.toml");
    file.scenes[0].rig = Some("no_such_rig.toml".into());
    assert_eq!(file.resolve(&mut Fixtures).unwrap_err(), []);
}
