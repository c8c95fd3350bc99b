//! `corymb sweep`: a study from its file to its table.

use crate::args::{ProgressStyle, SweepArgs};
use crate::exit::{Exit, Failure};
use crate::inputs::kept;
use crate::scenes::content;
use crate::{interrupt, talk};
use corymb_formats::{Code, Problem, Problems, Publication, read_arm, read_policy};
use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use corymb_simulate::SceneSpec;
use corymb_simulate::spec::{DetectorFile, ErrorsFile, RigFile};
use corymb_study::{
    Contestant, Files, ProblemKind, RunOptions, Standard, Study, StudyEvent, StudyFile,
    StudyProblem, Summary, rows_csv, run_study, summarise, table_csv, table_markdown, table_text,
};
use indicatif::{ProgressBar, ProgressStyle as BarStyle};
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

/// Files of a study's folder.
const ROWS: &str = "rows.csv";
const TABLE: &str = "table.csv";
const MARKDOWN: &str = "table.md";

/// Runs a study.
///
/// # Errors
/// Files with problems, a scene that cannot be simulated, or the disk.
pub(crate) fn sweep(args: &SweepArgs) -> Result<Exit, Failure> {
    let study = read(&args.study)?;
    let threads = args
        .threads
        .map_or_else(rayon::current_num_threads, usize::from);
    let started = Instant::now();
    let clock = || started.elapsed().as_secs_f64();
    let progress = Progress::new(args.progress, study.runs());
    let rows = run_study(
        &study,
        &[Contestant::Estimator(&Standard)],
        &RunOptions {
            threads,
            watch: &|event| progress.hear(event),
            clock: args.seconds.then_some(&clock),
        },
    )?;
    progress.bar.finish_and_clear();
    let summary = summarise(&rows);
    publish(&args.out, &rows_csv(&rows), &summary)?;
    talk::say(&account(&study, &summary, &args.out))?;
    Ok(Exit::Done)
}

fn publish(out: &Path, rows: &str, summary: &Summary) -> Result<(), Failure> {
    let _interrupts_wait = interrupt::begin_writing();
    let mut publication = Publication::folder(out, &[ROWS, TABLE, MARKDOWN])?;
    publication.bytes(ROWS, rows.as_bytes())?;
    publication.bytes(TABLE, table_csv(summary).as_bytes())?;
    publication.bytes(MARKDOWN, table_markdown(summary).as_bytes())?;
    Ok(publication.publish()?)
}

fn account(study: &Study, summary: &Summary, out: &Path) -> String {
    format!(
        "{}: {} simulated runs\n\n{}Written to {}: {ROWS}, {TABLE}, {MARKDOWN}\n",
        study.name,
        study.runs(),
        table_text(summary),
        out.display(),
    )
}

fn read(path: &Path) -> Result<Study, Failure> {
    let mut problems = Problems::default();
    let Some(file) = content::<StudyFile>(path, &mut problems) else {
        return Err(problems.into());
    };
    let mut disk = Disk {
        folder: path.parent().unwrap_or(Path::new("")),
        problems,
    };
    file.resolve(&mut disk).map_err(|list| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let own = list.into_iter().map(|p| problem(&name, p));
        let mut problems = disk.problems;
        problems.list.splice(0..0, own);
        problems.into()
    })
}

/// A problem of the study in the words of all files.
fn problem(file: &str, problem: StudyProblem) -> Problem {
    let code = match problem.kind {
        ProblemKind::PathUnknown => Code::FieldUnknown,
        ProblemKind::WordUnknown => Code::ValueUnknown,
        ProblemKind::Missing => Code::FieldMissing,
        ProblemKind::Empty => Code::ListEmpty,
        ProblemKind::Twice => Code::IdTwice,
        ProblemKind::Type => Code::TypeWrong,
        ProblemKind::Range => Code::NumberOutOfRange,
    };
    Problem {
        code,
        file: file.to_owned(),
        line: None,
        field: problem.field,
        found: problem.found,
        expected: problem.expected,
        what_to_do: code.entry().action.to_owned(),
    }
}

/// Files relative to the study file.
struct Disk<'a> {
    folder: &'a Path,
    problems: Problems,
}

impl Files for Disk<'_> {
    fn scene(&mut self, file: &str) -> Option<SceneSpec> {
        content(&self.folder.join(file), &mut self.problems)
    }

    fn rig(&mut self, file: &str) -> Option<RigFile> {
        content(&self.folder.join(file), &mut self.problems)
    }

    fn detector(&mut self, file: &str) -> Option<DetectorFile> {
        content(&self.folder.join(file), &mut self.problems)
    }

    fn errors(&mut self, file: &str) -> Option<ErrorsFile> {
        content(&self.folder.join(file), &mut self.problems)
    }

    fn policy(&mut self, file: &str) -> Option<Policy> {
        let read = read_policy(&self.folder.join(file));
        kept(read, &mut self.problems).map(|loaded| loaded.value)
    }

    fn arm(&mut self, file: &str) -> Option<ArmSetup> {
        let read = read_arm(&self.folder.join(file));
        kept(read, &mut self.problems).map(|loaded| loaded.value)
    }
}

/// Tells on stderr how many runs are done.
struct Progress {
    style: ProgressStyle,
    bar: ProgressBar,
    done: AtomicUsize,
    of: usize,
}

impl Progress {
    fn new(style: ProgressStyle, of: usize) -> Self {
        let bar = match style {
            ProgressStyle::Auto => ProgressBar::new(of as u64),
            ProgressStyle::Json | ProgressStyle::Off => ProgressBar::hidden(),
        };
        if let Ok(look) = BarStyle::with_template("{pos} of {len} runs {bar:30} {msg} {elapsed}") {
            bar.set_style(look);
        }
        bar.tick();
        Self {
            style,
            bar,
            done: AtomicUsize::new(0),
            of,
        }
    }

    fn hear(&self, event: StudyEvent<'_>) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        self.bar
            .set_message(format!("{}, seed {}", event.scene, event.seed));
        self.bar.inc(1);
        if self.style == ProgressStyle::Json {
            let line = serde_json::json!({
                "done": done, "of": self.of, "scene": event.scene, "seed": event.seed,
            });
            talk::note(&line.to_string());
        }
    }
}
