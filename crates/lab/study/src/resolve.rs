//! From the study file to a study: files fetched, combinations written out, all of them checked at once.

use crate::combine::{Combination, Range, combinations, paths, told};
use crate::figures::{FIGURES, FigureKind};
use crate::file::{SceneEntry, StudyFile};
use crate::plan::{SceneCase, SettingsCase, Study};
use crate::problem::{ProblemKind, StudyProblem};
use corymb_job::JobConfig;
use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use corymb_simulate::spec::{
    DetectorFile, ErrorsFile, Override, OverrideError, RigFile, check, with_overrides,
};
use corymb_simulate::{SceneSpec, SimulateError};
use serde_json::{Map, Value};

/// Runs to be simulated, and combinations of settings, at most.
const MOST: usize = 100_000;

/// Where a study gets its files from. `None` where one cannot be had; whoever implements this tells why.
pub trait Files {
    /// A scene file.
    fn scene(&mut self, file: &str) -> Option<SceneSpec>;
    /// A rig file.
    fn rig(&mut self, file: &str) -> Option<RigFile>;
    /// A detector file.
    fn detector(&mut self, file: &str) -> Option<DetectorFile>;
    /// An errors file.
    fn errors(&mut self, file: &str) -> Option<ErrorsFile>;
    /// A policy file.
    fn policy(&mut self, file: &str) -> Option<Policy>;
    /// An arm file.
    fn arm(&mut self, file: &str) -> Option<ArmSetup>;
}

/// A part of a scene that may vary: a file's content, or a value at a path.
#[derive(Debug, Clone)]
enum Piece {
    Rig(RigFile),
    Detector(DetectorFile),
    Errors(ErrorsFile),
    Field(Override),
}

impl StudyFile {
    /// The study, with its files from `files`.
    ///
    /// # Errors
    /// All that is wrong with the study file; empty where only files could not be had.
    pub fn resolve(&self, files: &mut dyn Files) -> Result<Study, Vec<StudyProblem>> {
        let mut resolver = Resolver {
            files,
            problems: Vec::new(),
            lost_files: false,
        };
        let study = resolver.study(self);
        let Resolver {
            problems,
            lost_files,
            ..
        } = resolver;
        match study {
            Some(study) if problems.is_empty() && !lost_files => Ok(study),
            _ => Err(problems),
        }
    }
}

struct Resolver<'a> {
    files: &'a mut dyn Files,
    problems: Vec<StudyProblem>,
    lost_files: bool,
}

impl Resolver<'_> {
    fn study(&mut self, file: &StudyFile) -> Option<Study> {
        self.head(file);
        let bases: Vec<(String, SceneSpec)> = (0..file.scenes.len())
            .filter_map(|k| self.base(file, k))
            .collect();
        let ranges = self.scene_ranges(&file.vary);
        let settings = self.settings(file);
        let policy = file.policy.as_deref();
        let policy = policy.and_then(|f| fetched(self.files.policy(f), &mut self.lost_files));
        let arm = file.arm.as_deref();
        let setup = arm.and_then(|f| fetched(self.files.arm(f), &mut self.lost_files));
        let varied = ranges.iter().map(|r| r.path.clone()).collect();
        let most = MOST / bases.len().max(1) / (file.seeds.count.max(1) as usize);
        let Some(variants) = combinations(&ranges, most) else {
            let expected = format!("at most {MOST} runs: scenes x combinations x seeds");
            self.push(ProblemKind::Range, "vary", "more", expected);
            return None;
        };
        let scenes = self.scenes(&bases, &variants);
        Some(Study {
            name: file.name.clone(),
            seeds: (0..u64::from(file.seeds.count))
                .map(|k| file.seeds.first.wrapping_add(k))
                .collect(),
            varied,
            varied_settings: paths(&file.vary_settings)
                .into_iter()
                .map(|o| o.path)
                .collect(),
            scenes,
            settings,
            figures: self.figures(file),
            policy,
            setup,
        })
    }

    /// One problem a place and value is enough, however many combinations meet it.
    fn push(
        &mut self,
        kind: ProblemKind,
        field: impl Into<String>,
        found: impl std::fmt::Display,
        expected: impl Into<String>,
    ) {
        let problem = StudyProblem {
            kind,
            field: field.into(),
            found: found.to_string(),
            expected: expected.into(),
        };
        if !self.problems.contains(&problem) {
            self.problems.push(problem);
        }
    }

    fn head(&mut self, file: &StudyFile) {
        if file.version != 1 {
            self.push(ProblemKind::Range, "version", file.version, "1");
        }
        if file.name.is_empty() {
            self.push(ProblemKind::Missing, "name", "nothing", "a name");
        }
        let count = file.seeds.count;
        if count == 0 || count as usize > MOST {
            self.push(
                ProblemKind::Range,
                "seeds.count",
                count,
                format!("1 to {MOST}"),
            );
        }
        if file.scenes.is_empty() {
            self.push(ProblemKind::Empty, "scene", "none", "at least one");
        }
        if file.arm.is_some() && file.policy.is_none() {
            let expected = "a policy as well: orders need decisions";
            self.push(ProblemKind::Missing, "arm", "an arm alone", expected);
        }
    }

    fn figures(&mut self, file: &StudyFile) -> Vec<FigureKind> {
        let mut figures = FIGURES.to_vec();
        for (name, path) in &file.figures {
            if FIGURES.iter().any(|f| f.name == name.as_str()) {
                let expected = "a name that no other figure has";
                self.push(
                    ProblemKind::Twice,
                    format!("figures.{name}"),
                    name,
                    expected,
                );
            }
            figures.push(FigureKind::at(name, path));
        }
        figures
    }

    /// A scene before anything varies.
    fn base(&mut self, file: &StudyFile, k: usize) -> Option<(String, SceneSpec)> {
        let entry = file.scenes.get(k)?;
        let name = name_of(entry);
        if file
            .scenes
            .iter()
            .take(k)
            .any(|other| name_of(other) == name)
        {
            let expected = "a name that no other scene has";
            self.push(
                ProblemKind::Twice,
                format!("scene[{k}].name"),
                &name,
                expected,
            );
        }
        let mut spec = match (&entry.kind, &entry.file) {
            (Some(kind), None) => self.kind(kind, k)?,
            (None, Some(path)) => fetched(self.files.scene(path), &mut self.lost_files)?,
            (kind, _) => {
                let found = if kind.is_some() { "both" } else { "neither" };
                let expected = "either kind or file";
                self.push(ProblemKind::Missing, format!("scene[{k}]"), found, expected);
                return None;
            }
        };
        let pieces = [
            ("rig", &entry.rig),
            ("detector", &entry.detector),
            ("errors", &entry.errors),
        ];
        for (path, file) in pieces {
            if let Some(file) = file {
                put(&self.piece(path, file)?, &mut spec);
            }
        }
        match with_overrides(&spec, &paths(&entry.set)) {
            Ok(spec) => Some((name, spec)),
            Err(errors) => {
                self.refused(&format!("scene[{k}].set"), &errors);
                None
            }
        }
    }

    fn kind(&mut self, kind: &str, k: usize) -> Option<SceneSpec> {
        let spec = SceneSpec::named(kind);
        if spec.is_none() {
            let expected = format!("one of {}", SceneSpec::NAMES.join(", "));
            self.push(
                ProblemKind::WordUnknown,
                format!("scene[{k}].kind"),
                kind,
                expected,
            );
        }
        spec
    }

    fn piece(&mut self, path: &str, file: &str) -> Option<Piece> {
        let piece = match path {
            "rig" => self.files.rig(file).map(Piece::Rig),
            "detector" => self.files.detector(file).map(Piece::Detector),
            _ => self.files.errors(file).map(Piece::Errors),
        };
        fetched(piece, &mut self.lost_files)
    }

    /// What `vary` says: files at the three names that stand for files, values elsewhere.
    fn scene_ranges(&mut self, vary: &Map<String, Value>) -> Vec<Range<Piece>> {
        let mut ranges = Vec::new();
        for Override { path, value } in paths(vary) {
            let mut values = Vec::new();
            for value in self.list("vary", &path, &value) {
                let file = value.as_str();
                let file = file.filter(|_| ["rig", "detector", "errors"].contains(&path.as_str()));
                match file {
                    Some(file) => {
                        let piece = self.piece(&path, file);
                        values.extend(piece.map(|p| (stem(file).to_owned(), p)));
                    }
                    None => {
                        let path = path.clone();
                        values.push((told(&value), Piece::Field(Override { path, value })));
                    }
                }
            }
            ranges.push(Range { path, values });
        }
        // files replace whole tables, in which a field may vary besides
        ranges.sort_by_key(|r| !r.values.iter().any(|v| !matches!(v.1, Piece::Field(_))));
        ranges
    }

    fn list(&mut self, table: &str, path: &str, value: &Value) -> Vec<Value> {
        match value.as_array() {
            Some(list) if !list.is_empty() => list.clone(),
            _ => {
                let field = format!("{table}.{path}");
                let expected = "a list of the values that it takes";
                self.push(ProblemKind::Empty, field, value, expected);
                Vec::new()
            }
        }
    }

    fn scenes(
        &mut self,
        bases: &[(String, SceneSpec)],
        variants: &[Combination<Piece>],
    ) -> Vec<SceneCase> {
        let mut scenes = Vec::new();
        for (name, base) in bases {
            for variant in variants {
                scenes.extend(self.scene(name, base, variant));
            }
        }
        scenes
    }

    fn scene(
        &mut self,
        name: &str,
        base: &SceneSpec,
        variant: &Combination<Piece>,
    ) -> Option<SceneCase> {
        let mut spec = base.clone();
        let mut fields = Vec::new();
        for piece in &variant.values {
            match piece {
                Piece::Field(field) => fields.push(field.clone()),
                file => put(file, &mut spec),
            }
        }
        let spec = match with_overrides(&spec, &fields) {
            Ok(spec) => spec,
            Err(errors) => {
                self.refused("vary", &errors);
                return None;
            }
        };
        if let Err(SimulateError::Unusable(problems)) = check(&spec) {
            for problem in problems {
                let field = format!("scene {name}: {}", problem.field);
                self.push(ProblemKind::Range, field, problem.found, problem.expected);
            }
            return None;
        }
        Some(SceneCase {
            name: name.to_owned(),
            values: variant.told.clone(),
            spec,
        })
    }

    fn settings(&mut self, file: &StudyFile) -> Vec<SettingsCase> {
        let base = match with_overrides(&JobConfig::default(), &paths(&file.settings)) {
            Ok(base) => base,
            Err(errors) => {
                self.refused("settings", &errors);
                return Vec::new();
            }
        };
        let mut ranges = Vec::new();
        for Override { path, value } in paths(&file.vary_settings) {
            let list = self.list("vary_settings", &path, &value).into_iter();
            let field = |value: Value| Override {
                path: path.clone(),
                value,
            };
            let values = list.map(|value| (told(&value), field(value))).collect();
            ranges.push(Range { path, values });
        }
        let Some(variants) = combinations(&ranges, MOST) else {
            let expected = format!("at most {MOST} combinations");
            self.push(ProblemKind::Range, "vary_settings", "more", expected);
            return Vec::new();
        };
        let mut cases = Vec::new();
        for variant in variants {
            match with_overrides(&base, &variant.values) {
                Ok(config) => cases.push(SettingsCase {
                    values: variant.told,
                    config,
                }),
                Err(errors) => self.refused("vary_settings", &errors),
            }
        }
        cases
    }

    fn refused(&mut self, table: &str, errors: &[OverrideError]) {
        for error in errors {
            match error {
                OverrideError::UnknownPath { path, near } => {
                    let near = match near.as_slice() {
                        [] => String::new(),
                        near => format!(", like {}", near.join(" or ")),
                    };
                    let expected = format!("a path that is there{near}");
                    self.push(
                        ProblemKind::PathUnknown,
                        format!("{table}.{path}"),
                        path,
                        expected,
                    );
                }
                OverrideError::Misfit {
                    path,
                    found,
                    because,
                } => self.push(ProblemKind::Type, format!("{table}.{path}"), found, because),
            }
        }
    }
}

/// What was fetched; a loss is noted.
fn fetched<T>(value: Option<T>, lost: &mut bool) -> Option<T> {
    *lost |= value.is_none();
    value
}

fn put(piece: &Piece, spec: &mut SceneSpec) {
    match piece {
        Piece::Rig(rig) => rig.put_into(spec),
        Piece::Detector(detector) => detector.put_into(spec),
        Piece::Errors(errors) => errors.put_into(spec),
        Piece::Field(_) => {}
    }
}

fn name_of(entry: &SceneEntry) -> String {
    let given = entry.name.as_deref().or(entry.kind.as_deref());
    let name = given.or(entry.file.as_deref().map(stem));
    name.unwrap_or_default().to_owned()
}

/// The name of a file without folders and ending.
fn stem(file: &str) -> &str {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    name.split('.').next().unwrap_or(name)
}
