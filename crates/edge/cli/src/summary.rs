//! What a run comes to: for `summary.json`, and for a person at the terminal.

use crate::exit::Failure;
use crate::inputs::Inputs;
use crate::progress::{StageTime, Times};
use crate::talk::wrapped;
use corymb_formats::{StageSummary, Summary};
use corymb_job::{JobConfig, JobOutput};
use corymb_model::decisions::Action;
use corymb_model::diagnostics::BoxFate;
use corymb_model::orders::{TaskList, Work};
use corymb_model::policy::Pinned;
use corymb_report::{CAUTIONS, trees};
use std::collections::BTreeMap;
use std::path::Path;

/// What a stage worked on, how many of them, and what came out.
type Account = (&'static str, usize, Vec<(&'static str, usize)>);

/// The content of `summary.json`.
///
/// # Errors
/// Settings that cannot be written as JSON.
pub(crate) fn for_machines(
    inputs: &Inputs,
    output: &JobOutput,
    config: &JobConfig,
    times: &Times,
) -> Result<Summary, Failure> {
    let mut refusals = BTreeMap::new();
    for refusal in output.tasks.iter().flat_map(|t| &t.refusals) {
        *refusals
            .entry(refusal.reason.name().to_owned())
            .or_insert(0) += 1;
    }
    Ok(Summary {
        run: inputs.run.name.clone(),
        stopped_after: output.reached.last.name().to_owned(),
        stopped_because: output.reached.sentence().to_owned(),
        left_out: BTreeMap::from([(
            "images_without_pose".to_owned(),
            count(output.scene.frames_left_out),
        )]),
        stages: times
            .stages
            .iter()
            .map(|t| stage(t, inputs, output))
            .collect(),
        refusals,
        threads: rayon::current_num_threads(),
        seconds: times.seconds,
        settings: settings(config)?,
    })
}

fn settings(config: &JobConfig) -> Result<serde_json::Value, Failure> {
    Ok(serde_json::json!({
        "fusion": serde_json::to_value(&config.fusion)?,
        "clusters": serde_json::to_value(config.clusters)?,
        "approach": serde_json::to_value(&config.approach)?,
        "thinning": serde_json::to_value(config.thinning)?,
        "sequence": serde_json::to_value(config.sequence)?,
    }))
}

fn count(n: usize) -> u64 {
    n as u64
}

fn stage(time: &StageTime, inputs: &Inputs, output: &JobOutput) -> StageSummary {
    let (item, items, counts) = account(time, inputs, output);
    StageSummary {
        name: time.stage.clone(),
        seconds: time.seconds,
        items: count(items),
        item: item.to_owned(),
        counts: counts
            .into_iter()
            .map(|(what, n)| (what.to_owned(), count(n)))
            .collect(),
    }
}

fn account(time: &StageTime, inputs: &Inputs, output: &JobOutput) -> Account {
    let (run, map) = (&inputs.run, &output.map);
    match time.stage.as_str() {
        "read" => (
            "boxes",
            inputs.boxes(),
            vec![
                ("images", run.frames.len()),
                ("poses", run.poses.len()),
                ("trees", inputs.trees()),
            ],
        ),
        "fusion" => ("boxes", inputs.boxes(), fused(output)),
        "clusters" => (
            "bodies",
            output.scene.bodies.len(),
            vec![
                ("fruitlets", map.fruitlets.len()),
                (
                    "fruitlets_decided",
                    map.fruitlets.iter().filter(|f| f.is_decided()).count(),
                ),
                ("clusters", map.clusters.len()),
            ],
        ),
        "approach" => {
            let ways = output.ways.iter().map(|c| c.ways.len()).sum();
            ("clusters", output.ways.len(), vec![("ways", ways)])
        }
        "thinning" => ("clusters", map.clusters.len(), decided(output)),
        "sequence" => {
            let removals = output
                .decisions
                .iter()
                .flat_map(|d| &d.chosen)
                .map(|(_, way)| way.removals.len())
                .sum();
            (
                "removals",
                removals,
                output.tasks.as_ref().map(ordered).unwrap_or_default(),
            )
        }
        _ => ("files", time.items, Vec::new()),
    }
}

/// Bodies, and what became of the boxes of bodies.
fn fused(output: &JobOutput) -> Vec<(&'static str, usize)> {
    let scene = &output.scene;
    let fate = |fate: BoxFate| (box_count(fate), scene.diagnostics.boxes_of(fate));
    let bodies = std::iter::once(("bodies", scene.bodies.len()));
    bodies.chain(BoxFate::ALL.map(fate)).collect()
}

/// How a count of boxes is called.
fn box_count(fate: BoxFate) -> &'static str {
    match fate {
        BoxFate::Explained => "boxes_explained",
        BoxFate::Cut => "boxes_cut",
        BoxFate::Duplicate => "boxes_duplicate",
        BoxFate::Merged => "boxes_merged",
        BoxFate::OfDropped => "boxes_of_dropped",
        BoxFate::Unclaimed => "boxes_unclaimed",
        BoxFate::Unusable => "boxes_unusable",
        BoxFate::LeftOut => "boxes_left_out",
    }
}

fn decided(output: &JobOutput) -> Vec<(&'static str, usize)> {
    let of = |action: Action| {
        let decisions = output.decisions.iter().flat_map(|d| &d.decisions);
        (
            action.name(),
            decisions.filter(|d| d.action == action).count(),
        )
    };
    [Action::Keep, Action::Remove, Action::LookAgain]
        .map(of)
        .to_vec()
}

fn ordered(tasks: &TaskList) -> Vec<(&'static str, usize)> {
    let looks = tasks
        .orders
        .iter()
        .filter(|o| matches!(o.work, Work::Look { .. }))
        .count();
    vec![
        ("orders", tasks.orders.len()),
        ("looks", looks),
        ("stops", tasks.stats.stops),
        ("refusals", tasks.refusals.len()),
    ]
}

/// What a person wants to know after a run.
pub(crate) fn for_people(
    inputs: &Inputs,
    output: &JobOutput,
    out: &Path,
    files: &[String],
) -> String {
    let mut text = format!(
        "{}: {} images, {} boxes; {} clusters on the map\n\n",
        inputs.run.name,
        inputs.run.frames.len(),
        inputs.boxes(),
        output.map.clusters.len(),
    );
    let results = trees::Results {
        orchard: inputs.run.orchard.as_ref(),
        map: &output.map,
        decisions: output.decisions.as_ref(),
        tasks: output.tasks.as_ref(),
    };
    text += &trees::table(&trees::rows(&results));
    text.push('\n');
    if let Some(tasks) = &output.tasks {
        text += &task_line(tasks);
    }
    text += &format!(
        "Last stage: {}; {}.\n",
        output.reached.last.name(),
        output.reached.sentence()
    );
    text += &format!("Written to {}: {}\n", out.display(), files.join(", "));
    if output.tasks.is_some() {
        text.push('\n');
        text += &wrapped(CAUTIONS);
    }
    text
}

fn task_line(tasks: &TaskList) -> String {
    let looks = tasks
        .orders
        .iter()
        .filter(|o| matches!(o.work, Work::Look { .. }))
        .count();
    format!(
        "Orders: {} closings of the tool and {looks} second looks from {} stops of the platform, about {:.0} s.\n",
        tasks.orders.len() - looks,
        tasks.stats.stops,
        tasks.stats.duration_s,
    )
}

/// What a pin holds, in words.
pub(crate) fn pinned(what: &Pinned) -> String {
    match what {
        Pinned::Fruitlet(id) => format!("fruitlet {id:?}"),
        Pinned::Cluster(id) => format!("cluster {id:?}"),
        Pinned::Limb(id) => format!("limb {id:?}"),
        Pinned::Tree(id) => format!("tree {id:?}"),
    }
}
