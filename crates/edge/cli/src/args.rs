//! The command line: every flag stands here once and reaches help from here.

use clap::{Args, Parser, Subcommand, ValueEnum};
use corymb_simulate::spec::Override;
use std::path::PathBuf;

/// Examples that stand at the head of `--help`; a test runs each line that begins with `corymb`.
pub const EXAMPLES: &str = "\
From a field run to a map, decisions and an ordered task list:
  corymb run fixtures/two_trees --out out --policy fixtures/two_trees/policy.toml --arm fixtures/two_trees/arm.toml
Look at a run's files for mistakes before anything else:
  corymb check fixtures/two_trees --policy fixtures/two_trees/policy.toml
Invent an orchard with known truth, run it, and see how good the answer is:
  corymb simulate two_trees --seed 7 --out field
  corymb run field --out answer
  corymb score field answer --truth field/truth.json
Keep the score, and compare it with that of another run of the program:
  corymb score field answer --truth field/truth.json --out scored
  corymb compare scored scored
Sum up what an arm did in the field:
  corymb trials fixtures/trials/forty.csv
Ask what an error code means:
  corymb explain box-inverted
";

/// From a detector's boxes to an ordered, checked, explained task list for a thinning arm.
#[derive(Debug, Parser)]
#[command(name = "corymb", version, before_help = EXAMPLES, after_help = EXIT_CODES)]
#[command(
    help_template = "{before-help}{about-with-newline}\n{usage-heading} {usage}\n\n{all-args}{after-help}"
)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
}

const EXIT_CODES: &str = "\
Exit codes: 0 done; 1 done and the answer is no; 2 usage, configuration or input wrong; 3 done with loss (some input \
was unusable and said so); 70 a bug in corymb.";

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Map a run; with a policy decide, with an arm write orders.
    Run(RunArgs),
    /// Read a run's files, list every problem, write nothing.
    Check(CheckArgs),
    /// Invent an orchard and what cameras would see of it, with its truth.
    Simulate(SimulateArgs),
    /// Run a study: scenes, seeds and settings over ranges.
    Sweep(SweepArgs),
    /// Score an output folder against truth.
    Score(ScoreArgs),
    /// Compare scored outputs with the first of them, tree by tree.
    Compare(CompareArgs),
    /// Summarise field trials of orders: rates with intervals, causes, times.
    Trials(TrialsArgs),
    /// Print what a problem's code means and what to do about it.
    Explain(ExplainArgs),
}

/// The policy and the arm.
#[derive(Debug, Args)]
pub(crate) struct Plan {
    /// What the grower wants (policy.toml); without it the job stops at the map.
    #[arg(long, value_name = "FILE")]
    pub(crate) policy: Option<PathBuf>,
    /// Tool, arm and platform (arm.toml); without it the job stops at the decisions.
    #[arg(long, value_name = "FILE")]
    pub(crate) arm: Option<PathBuf>,
}

/// Arguments of `run`.
#[derive(Debug, Args)]
pub(crate) struct RunArgs {
    /// The run folder: run.json, frames.jsonl and what else there is.
    #[arg(value_name = "RUN_DIR")]
    pub(crate) run: PathBuf,
    /// Where the results go; made where missing, written all at once.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
    #[command(flatten)]
    /// Policy and arm.
    pub(crate) plan: Plan,
    /// Threads to work with; the result does not depend on it [default: one a core].
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(crate) threads: Option<u16>,
    /// Also draw N images, evenly spaced over the run, with what the map predicts in them (OUT/overlays/*.svg).
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub(crate) overlays: u16,
    /// How progress is told on stderr.
    #[arg(long, value_enum, default_value_t = ProgressStyle::Auto)]
    pub(crate) progress: ProgressStyle,
}

/// How progress is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ProgressStyle {
    /// Moving on a terminal, silent when piped.
    Auto,
    /// One JSON object a line.
    Json,
    /// Not at all.
    Off,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub(crate) struct CheckArgs {
    /// The run folder.
    #[arg(value_name = "RUN_DIR")]
    pub(crate) run: PathBuf,
    #[command(flatten)]
    /// Policy and arm.
    pub(crate) plan: Plan,
    /// A truth file to look at as well.
    #[arg(long, value_name = "FILE")]
    pub(crate) truth: Option<PathBuf>,
}

/// Arguments of `simulate`.
#[derive(Debug, Args)]
pub(crate) struct SimulateArgs {
    /// A scene file (.toml) or the name of a built-in kind.
    #[arg(value_name = "SCENE.toml|KIND")]
    pub(crate) scene: String,
    /// The same seed gives the same orchard, boxes and errors.
    #[arg(long, value_name = "N", required_unless_present = "print")]
    pub(crate) seed: Option<u64>,
    /// Where the run folder goes; made where missing.
    #[arg(long, value_name = "DIR", required_unless_present = "print")]
    pub(crate) out: Option<PathBuf>,
    /// A rig file: its cameras, and its passes where it has any, replace those of the scene.
    #[arg(long, value_name = "FILE")]
    pub(crate) rig: Option<PathBuf>,
    /// A detector file: replaces the scene's detector and what the run states about it.
    #[arg(long, value_name = "FILE")]
    pub(crate) detector: Option<PathBuf>,
    /// An errors file: replaces the errors of poses, mounting, clock and limbs, and what the run states about them.
    #[arg(long, value_name = "FILE")]
    pub(crate) errors: Option<PathBuf>,
    /// Change one field, after the files: detector.edge_white_px=2, cameras.0.tilt_deg=3, errors.poses=trajectory.
    #[arg(long, value_name = "PATH=VALUE", value_parser = crate::scenes::parse_override)]
    pub(crate) set: Vec<Override>,
    /// Write the whole scene with every default as TOML to stdout, and simulate nothing.
    #[arg(long, conflicts_with_all = ["seed", "out"])]
    pub(crate) print: bool,
}

/// Arguments of `sweep`.
#[derive(Debug, Args)]
pub(crate) struct SweepArgs {
    /// The study file.
    #[arg(value_name = "STUDY.toml")]
    pub(crate) study: PathBuf,
    /// Where rows.csv, table.csv and table.md go; made where missing, written all at once at the end.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: PathBuf,
    /// Threads to work with, each with one run in memory; the result does not depend on it [default: one a core].
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(crate) threads: Option<u16>,
    /// Also tell in rows.csv how long each estimate took; those numbers differ from time to time.
    #[arg(long)]
    pub(crate) seconds: bool,
    /// How progress is told on stderr.
    #[arg(long, value_enum, default_value_t = ProgressStyle::Auto)]
    pub(crate) progress: ProgressStyle,
}

/// Arguments of `score`.
#[derive(Debug, Args)]
pub(crate) struct ScoreArgs {
    /// The run folder.
    #[arg(value_name = "RUN_DIR")]
    pub(crate) run: PathBuf,
    /// What `corymb run` wrote for it.
    #[arg(value_name = "OUT_DIR")]
    pub(crate) out: PathBuf,
    /// The truth.
    #[arg(long, value_name = "FILE")]
    pub(crate) truth: PathBuf,
    /// The orchard as it truly is, in the form of orchard.json: orders meet these limbs and obstacles
    /// [default: those of the run folder].
    #[arg(long, value_name = "FILE")]
    pub(crate) true_orchard: Option<PathBuf>,
    #[command(flatten)]
    /// Policy and arm.
    pub(crate) plan: Plan,
    /// Every figure as JSON instead of a table.
    #[arg(long)]
    pub(crate) json: bool,
    /// Also draw charts (DIR/*.svg), with the tables that they rest on (DIR/*.csv).
    #[arg(long, value_name = "DIR")]
    pub(crate) figures: Option<PathBuf>,
    /// Also write scores.json (for `corymb compare`), scores.csv, trees.csv, clusters.csv and frames.csv.
    #[arg(long = "out", value_name = "DIR")]
    pub(crate) files: Option<PathBuf>,
}

/// Arguments of `compare`.
#[derive(Debug, Args)]
pub(crate) struct CompareArgs {
    /// What `corymb score --out` wrote: scores.json, a folder with one, or a folder whose subfolders have one each (runs
    /// or seeds of one variant). The first is what the others are compared with.
    #[arg(value_name = "SCORES", num_args = 2.., required = true)]
    pub(crate) variants: Vec<PathBuf>,
    /// Also write compare.csv, changed.csv and compare.tex.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Compare even where run or truth are not the same files, as for another detector or rig; trees, clusters and
    /// images of the same name are then taken for the same.
    #[arg(long)]
    pub(crate) across_inputs: bool,
}

/// Arguments of `trials`.
#[derive(Debug, Args)]
pub(crate) struct TrialsArgs {
    /// The trials, one a line, with the columns order, reached, enclosed, cut, damage, seconds, and cause and tool where
    /// there are any.
    #[arg(value_name = "TRIALS.csv")]
    pub(crate) trials: PathBuf,
    /// The output folder whose orders were tried: compares what they promised with what came of it.
    #[arg(long, value_name = "OUT_DIR")]
    pub(crate) orders: Option<PathBuf>,
    /// Every figure as JSON instead of a table.
    #[arg(long)]
    pub(crate) json: bool,
}

/// Arguments of `explain`.
#[derive(Debug, Args)]
pub(crate) struct ExplainArgs {
    /// The code, as printed with the problem; without one all codes are listed.
    #[arg(value_name = "CODE")]
    pub(crate) code: Option<String>,
}
