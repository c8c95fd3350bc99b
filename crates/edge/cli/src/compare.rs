//! `corymb compare`: scored outputs against the first of them.

use crate::args::CompareArgs;
use crate::exit::{Exit, Failure};
use crate::scores_file::{SCORES, ScoresFile};
use crate::{interrupt, talk};
use corymb_formats::{Code, Problem, Problems, Publication, read_json_checked};
use corymb_score::compare::{
    CompareError, ScoredRun, Variant, changed_csv, compare as compare_variants, figures_csv,
    figures_tex, text,
};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Files that are written.
const FILES: [&str; 3] = ["compare.csv", "changed.csv", "compare.tex"];

/// A score that was read.
struct Scored {
    path: PathBuf,
    /// Name of the folder that holds it.
    folder: String,
    file: ScoresFile,
}

/// Compares.
///
/// # Errors
/// Files with problems, scores of other inputs, or nothing in common.
pub(crate) fn compare(args: &CompareArgs) -> Result<Exit, Failure> {
    let read = read_all(&args.variants)?;
    let by_folder = read.iter().any(|scores| {
        let names: BTreeSet<&str> = scores.iter().map(|s| s.file.run.as_str()).collect();
        names.len() < scores.len()
    });
    if by_folder {
        talk::note("note: names of runs repeat, so runs are paired by the names of their folders");
    }
    let key = |s: &Scored| if by_folder { &s.folder } else { &s.file.run }.clone();
    if !args.across_inputs {
        same_inputs(&read, &key)?;
    }
    let variant = |(path, scores): (&PathBuf, Vec<Scored>)| Variant {
        name: path.display().to_string(),
        runs: scores
            .into_iter()
            .filter_map(|s| {
                let run = key(&s);
                Some(ScoredRun {
                    run,
                    rows: s.file.rows?,
                })
            })
            .collect(),
    };
    let variants: Vec<Variant> = args.variants.iter().zip(read).map(variant).collect();
    let comparison = compare_variants(&variants).map_err(told)?;
    if let Some(dir) = &args.out {
        let _interrupts_wait = interrupt::begin_writing();
        let mut publication = Publication::folder(dir, &FILES)?;
        publication.bytes("compare.csv", &figures_csv(&comparison)?)?;
        publication.bytes("changed.csv", &changed_csv(&comparison)?)?;
        publication.bytes("compare.tex", figures_tex(&comparison).as_bytes())?;
        publication.publish()?;
    }
    talk::say(&text(&comparison))?;
    Ok(Exit::Done)
}

/// The scores of each variant; the problems of all files together.
fn read_all(variants: &[PathBuf]) -> Result<Vec<Vec<Scored>>, Problems> {
    let mut problems = Problems::default();
    let mut read = Vec::new();
    for variant in variants {
        let mut scores = Vec::new();
        for path in scores_below(variant) {
            match read_json_checked::<ScoresFile>(&path) {
                Ok(loaded) if loaded.value.rows.is_none() => problems.list.push(problem(
                    Code::FieldMissing,
                    &path,
                    "rows",
                    ("null", "trees or clusters that were scored"),
                )),
                Ok(loaded) => scores.push(Scored {
                    folder: folder_name(&path),
                    file: loaded.value,
                    path,
                }),
                Err(more) => {
                    problems.list.extend(more.list);
                    problems.cut_short.extend(more.cut_short);
                }
            }
        }
        read.push(scores);
    }
    if problems.is_empty() {
        Ok(read)
    } else {
        Err(problems)
    }
}

/// The score files that an argument stands for: itself, the one in it, or those of its subfolders by name. A folder
/// with none stands for the file that should be there.
fn scores_below(path: &Path) -> Vec<PathBuf> {
    let inside = path.join(SCORES);
    if !path.is_dir() {
        return vec![path.to_owned()];
    }
    if inside.exists() {
        return vec![inside];
    }
    let entries = path.read_dir().into_iter().flatten().flatten();
    let mut below: Vec<PathBuf> = entries
        .map(|entry| entry.path().join(SCORES))
        .filter(|file| file.is_file())
        .collect();
    below.sort();
    if below.is_empty() {
        vec![inside]
    } else {
        below
    }
}

fn folder_name(path: &Path) -> String {
    let folder = path.parent().and_then(Path::file_name);
    folder
        .map(|n| n.to_string_lossy().into_owned())
        .unwrap_or_default()
}

/// Runs of the same name must have been scored from the same files.
fn same_inputs(read: &[Vec<Scored>], key: &impl Fn(&Scored) -> String) -> Result<(), Problems> {
    let mut problems = Problems::default();
    let Some((first, others)) = read.split_first() else {
        return Ok(());
    };
    for other in others.iter().flatten() {
        let Some(twin) = first.iter().find(|s| key(s) == key(other)) else {
            continue;
        };
        for (name, found) in &other.file.inputs {
            // the truth may have any name
            let is_truth = *name == other.file.truth;
            let twin_name = if is_truth { &twin.file.truth } else { name };
            let expected = twin.file.inputs.get(twin_name);
            let Some(expected) = expected.filter(|e| *e != found) else {
                continue;
            };
            let field = format!("inputs[{name:?}]");
            let mut told = problem(Code::InputsDiffer, &other.path, &field, (found, expected));
            told.what_to_do = format!(
                "Compare scores of the same run and truth as {}, or give --across-inputs to pair what has the same name.",
                twin.path.display()
            );
            problems.list.push(told);
        }
    }
    if problems.is_empty() {
        Ok(())
    } else {
        Err(problems)
    }
}

/// What cannot be compared, as a problem of the files.
fn told(error: CompareError) -> Failure {
    let problem = match &error {
        CompareError::TooFew(_) => return error.into(),
        CompareError::NothingInCommon { first, other } => {
            let expected = format!("trees or clusters that {first} has too");
            let place = ("rows", ("others alone", expected.as_str()));
            problem(Code::NothingInCommon, Path::new(other), place.0, place.1)
        }
        CompareError::PlacementDiffers {
            run,
            first,
            other,
            one,
            two,
        } => {
            let expected = format!("{one}, as in {first} (run {run})");
            let place = ("rows.placement", (*two, expected.as_str()));
            problem(Code::PlacementDiffers, Path::new(other), place.0, place.1)
        }
    };
    Problems {
        list: vec![problem],
        cut_short: Vec::new(),
    }
    .into()
}

fn problem(code: Code, path: &Path, field: &str, (found, expected): (&str, &str)) -> Problem {
    Problem {
        code,
        file: path.display().to_string(),
        line: None,
        field: field.to_owned(),
        found: found.to_owned(),
        expected: expected.to_owned(),
        what_to_do: code.entry().action.to_owned(),
    }
}
