//! `decisions.json`.

use crate::wire::decisions::{DecisionWire, DecisionsFile, TreeLoadWire};
use crate::wire::header::FrameWire;
use crate::wire::num::Num;
use crate::write::error::WriteError;
use crate::write::names::Names;
use crate::write::publish::{Header, Publication};
use crate::write::settings::pin;
use corymb_model::decisions::{Decision, Decisions, TreeLoad};
use corymb_model::map::CropMap;
use corymb_model::run::Run;

const FILE: &str = "decisions.json";

impl Publication {
    /// Adds `decisions.json`.
    ///
    /// # Errors
    /// A position without an entry, a number that is not finite, or the disk.
    pub fn decisions(
        &mut self,
        header: &Header,
        run: &Run,
        map: &CropMap,
        decisions: &Decisions,
    ) -> Result<(), WriteError> {
        let names = Names {
            file: FILE,
            run,
            map,
        };
        let file = DecisionsFile {
            version: crate::read::document::VERSION,
            tool_version: header.tool_version.clone(),
            frame: FrameWire::Orchard,
            inputs: header.inputs.clone(),
            decisions: decisions
                .decisions
                .iter()
                .map(|d| decision(d, &names))
                .collect::<Result<_, _>>()?,
            trees: decisions
                .trees
                .iter()
                .map(|t| tree_load(t, &names))
                .collect::<Result<_, _>>()?,
            pins_without_object: decisions.pins_without_object.iter().map(pin).collect(),
        };
        self.json(FILE, &file)
    }
}

fn decision(d: &Decision, names: &Names<'_>) -> Result<DecisionWire, WriteError> {
    let fruitlet = names.fruitlet(d.fruitlet_idx)?;
    Ok(DecisionWire {
        fruitlet: fruitlet.id.clone(),
        tree: names.tree_id(fruitlet.tree_idx)?,
        cluster: names.cluster(fruitlet.cluster_idx)?.id.clone(),
        action: d.action.into(),
        rule: d.rule.into(),
        reason: d.reason.clone(),
        confidence: Num::share(d.confidence),
    })
}

fn tree_load(t: &TreeLoad, names: &Names<'_>) -> Result<TreeLoadWire, WriteError> {
    Ok(TreeLoadWire {
        id: names.tree_id(t.tree_idx)?,
        trunk_area_cm2: t.trunk_area_cm2.map(Num::significant),
        target: t.target,
        bound: t.bound.map(Into::into),
        to_leave: t.to_leave,
        binds: t.binds,
        no_target_because: t.no_target_because.clone(),
        found: t.found,
        unseen: Num::significant(t.unseen),
        kept: t.kept,
        removed: t.removed,
        look_again: t.look_again,
        unmet: t.unmet.clone(),
    })
}
