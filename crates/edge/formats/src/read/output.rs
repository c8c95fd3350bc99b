//! The output folder as a whole.

use crate::codes::Code;
use crate::limits::Limits;
use crate::problem::{Problem, Problems};
use crate::read::calibration::read_calibration;
use crate::read::decisions::read_decisions;
use crate::read::diagnostics::read_diagnostics;
use crate::read::document::{Grammar, Loaded, read_document};
use crate::read::map::read_map;
use crate::read::orders::{read_orders, read_refusals};
use crate::source::{locate, locate_needed, require_folder};
use crate::summary::{StageSummary, Summary};
use crate::wire::summary::SummaryFile;
use crate::write::Header;
use corymb_model::arm::ArmSetup;
use corymb_model::decisions::Decisions;
use corymb_model::diagnostics::Diagnostics;
use corymb_model::map::CropMap;
use corymb_model::orders::Order;
use corymb_model::run::Run;
use corymb_model::scene::Calibration;
use corymb_model::ways::Refusal;
use std::collections::BTreeMap;
use std::path::Path;

/// What an output folder holds. Only the map is always there.
#[derive(Debug, Clone)]
pub struct OutputFolder {
    /// What the map says about itself; the other files say the same.
    pub header: Header,
    /// The crop map.
    pub map: CropMap,
    /// Decisions, where a policy was given.
    pub decisions: Option<Decisions>,
    /// Orders; `None` too where they were not asked for with an arm.
    pub orders: Option<Vec<Order>>,
    /// Refusals, where an arm was given.
    pub refusals: Option<Vec<Refusal>>,
    /// The calibration.
    pub calibration: Option<Calibration>,
    /// The account of the fusion.
    pub diagnostics: Option<Diagnostics>,
    /// How the run went; absent where the folder was not finished, or is not of this program.
    pub summary: Option<Summary>,
}

/// Reads what is there of an output folder of `run`. Orders need the `arm` they were made with and are left out without.
///
/// # Errors
/// All problems of all files, up to a limit for each; files of different inputs side by side among them.
pub fn read_output(
    dir: &Path,
    run: &Run,
    arm: Option<&ArmSetup>,
) -> Result<OutputFolder, Problems> {
    require_folder(dir)?;
    let map = read_map(dir, run)?;
    let (header, map) = map.value;
    let mut problems = Problems::default();
    let decisions = part(dir, "decisions.json", &mut problems, || {
        read_decisions(dir, run, &map)
    });
    let calibration = part(dir, "calibration.json", &mut problems, || {
        read_calibration(dir, run)
    });
    let diagnostics = part(dir, "diagnostics.json", &mut problems, || {
        read_diagnostics(dir, run, &map)
    });
    let summary = part(dir, "summary.json", &mut problems, || read_summary(dir));
    let orders = arm.and_then(|arm| {
        part(dir, "orders.jsonl", &mut problems, || {
            read_orders(dir, run, &map, arm)
        })
    });
    let refusals = part(dir, "refusals.jsonl", &mut problems, || {
        read_refusals(dir, run, &map)
    });
    let headers = [
        ("decisions.json", decisions.as_ref().map(|d| &d.0)),
        ("calibration.json", calibration.as_ref().map(|c| &c.0)),
        ("diagnostics.json", diagnostics.as_ref().map(|d| &d.0)),
        ("summary.json", summary.as_ref().map(|s| &s.0)),
    ];
    let others = headers
        .into_iter()
        .filter(|(_, of_part)| of_part.is_some_and(|h| *h != header));
    problems.list.extend(others.map(|(file, _)| mixed(file)));
    let output = OutputFolder {
        map,
        decisions: decisions.map(|d| d.1),
        orders,
        refusals,
        calibration: calibration.map(|c| c.1),
        diagnostics: diagnostics.map(|d| d.1),
        summary: summary.map(|s| s.1),
        header,
    };
    problems.or_else(output)
}

impl OutputFolder {
    /// A problem for each of `inputs` (file name -> SHA-256) that is not what the output was made from. Empty = fresh.
    #[must_use]
    pub fn stale_inputs(&self, inputs: &BTreeMap<String, String>) -> Vec<Problem> {
        let differs = |(name, sha256): (&String, &String)| {
            let made_from = self.header.inputs.get(name);
            (made_from != Some(sha256)).then(|| Problem {
                code: Code::InputsDiffer,
                file: "map.json".to_owned(),
                line: None,
                field: format!("inputs[{name:?}]"),
                found: made_from.cloned().unwrap_or_else(|| "nothing".to_owned()),
                expected: sha256.clone(),
                what_to_do: Code::InputsDiffer.entry().action.to_owned(),
            })
        };
        inputs.iter().filter_map(differs).collect()
    }
}

/// Reads a part that may be absent; its problems go to the list.
fn part<T>(
    dir: &Path,
    stem: &str,
    problems: &mut Problems,
    read: impl FnOnce() -> Result<Loaded<T>, Problems>,
) -> Option<T> {
    let result = match locate(dir, stem) {
        Ok(None) => return None,
        Ok(Some(_)) => read(),
        Err(problem) => Err(problem.into()),
    };
    result
        .map_err(|more| problems.join(more))
        .ok()
        .map(|loaded| loaded.value)
}

fn mixed(file: &str) -> Problem {
    Problem {
        code: Code::InputsDiffer,
        file: file.to_owned(),
        line: None,
        field: "inputs".to_owned(),
        found: "other inputs or another program version than in map.json".to_owned(),
        expected: "the same as in map.json".to_owned(),
        what_to_do: Code::InputsDiffer.entry().action.to_owned(),
    }
}

/// Reads `summary.json` of an output folder, with what it says about itself.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_summary(dir: &Path) -> Result<Loaded<(Header, Summary)>, Problems> {
    let located = locate_needed(dir, "summary.json")?;
    read_document(
        &located,
        Grammar::Json,
        &Limits::default(),
        |file: SummaryFile, _| {
            (
                Header {
                    tool_version: file.tool_version.clone(),
                    inputs: file.inputs.clone(),
                },
                summary(file),
            )
        },
    )
}

fn summary(file: SummaryFile) -> Summary {
    let stage = |s: crate::wire::summary::StageWire| StageSummary {
        name: s.name,
        seconds: s.seconds.0,
        items: s.items,
        item: s.item,
        counts: s.counts,
    };
    Summary {
        run: file.run,
        stopped_after: file.stopped.after,
        stopped_because: file.stopped.because,
        left_out: file.left_out,
        stages: file.stages.into_iter().map(stage).collect(),
        refusals: file.refusals,
        threads: file.threads,
        seconds: file.seconds.0,
        settings: file.settings,
    }
}
