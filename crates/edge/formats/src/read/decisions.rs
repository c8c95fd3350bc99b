//! `decisions.json` back into decisions.

use crate::findings::{Findings, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::{not_negative, share};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::read::known::Known;
use crate::read::policy::check_pins;
use crate::source::locate_needed;
use crate::wire::decisions::{DecisionWire, DecisionsFile, TreeLoadWire};
use crate::write::Header;
use corymb_model::decisions::{Decision, Decisions, TreeLoad};
use corymb_model::map::CropMap;
use corymb_model::run::Run;
use std::path::Path;

/// Reads `decisions.json` of an output folder, with what it says about itself. The ways chosen are not part of the
/// file and come back empty.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_decisions(
    dir: &Path,
    run: &Run,
    map: &CropMap,
) -> Result<Loaded<(Header, Decisions)>, Problems> {
    let located = locate_needed(dir, "decisions.json")?;
    let known = Known::of_map(run, map);
    read_document(
        &located,
        Grammar::Json,
        &Limits::default(),
        |file: DecisionsFile, out| {
            let header = Header {
                tool_version: file.tool_version.clone(),
                inputs: file.inputs.clone(),
            };
            (header, check_decisions(file, &known, out))
        },
    )
}

fn check_decisions(file: DecisionsFile, known: &Known<'_>, out: &mut Findings) -> Decisions {
    let decisions = file.decisions.iter().enumerate();
    let decisions = decisions
        .filter_map(|(at, d)| check_decision(d, at, known, out))
        .collect();
    let trees = file
        .trees
        .iter()
        .enumerate()
        .map(|(at, t)| check_tree(t, at, known, out))
        .collect();
    let pins_without_object = check_pins(file.pins_without_object, "pins_without_object", out);
    Decisions {
        decisions,
        trees,
        pins_without_object,
        chosen: Vec::new(),
    }
}

fn check_decision(
    wire: &DecisionWire,
    at: usize,
    known: &Known<'_>,
    out: &mut Findings,
) -> Option<Decision> {
    let here = |name: &str| place!["decisions", at, name];
    if let Some(tree) = &wire.tree {
        known.tree(tree, || here("tree"), out);
    }
    known.cluster(&wire.cluster, || here("cluster"), out);
    let confidence = share(wire.confidence, || here("confidence"), out);
    Some(Decision {
        fruitlet_idx: known.fruitlet(&wire.fruitlet, || here("fruitlet"), out)?,
        action: wire.action.into(),
        rule: wire.rule.into(),
        reason: wire.reason.clone(),
        confidence,
    })
}

fn check_tree(wire: &TreeLoadWire, at: usize, known: &Known<'_>, out: &mut Findings) -> TreeLoad {
    TreeLoad {
        tree_idx: wire
            .id
            .as_ref()
            .and_then(|id| known.tree(id, || place!["trees", at, "id"], out)),
        trunk_area_cm2: wire.trunk_area_cm2.map(|n| n.0),
        target: wire.target,
        to_leave: wire.to_leave,
        bound: wire.bound.map(Into::into),
        binds: wire.binds,
        no_target_because: wire.no_target_because.clone(),
        found: wire.found,
        unseen: not_negative(wire.unseen, || place!["trees", at, "unseen"], out),
        kept: wire.kept,
        removed: wire.removed,
        look_again: wire.look_again,
        unmet: wire.unmet.clone(),
    }
}
