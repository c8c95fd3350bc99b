//! Writing down what was chosen.

use crate::facts::Facts;
use crate::ground::{self, TreeBound};
use crate::plan::TreePlan;
use crate::tree::TreeGroup;
use crate::{confidence, sentence, unmet};
use corymb_model::decisions::{Action, Decision, Decisions, TreeLoad};

/// The decisions in the order of the map, the loads in the order of the trees, the chosen ways in the order of the
/// clusters.
pub(crate) fn decisions(facts: &Facts<'_>, trees: &[TreeGroup], plans: &[TreePlan]) -> Decisions {
    let mut decisions: Vec<Decision> = Vec::new();
    let mut loads = Vec::new();
    for (tree, plan) in trees.iter().zip(plans) {
        let bound = TreeBound::of(facts, plan);
        let of_tree: Vec<Decision> = tree
            .fruit
            .iter()
            .filter_map(|&i| decision(facts, i, &bound))
            .collect();
        loads.push(load(facts, tree, plan, &of_tree));
        decisions.extend(of_tree);
    }
    decisions.sort_by_key(|d| d.fruitlet_idx);
    let ways = (0..facts.candidates.len()).filter_map(|c| Some((c, &facts.chosen(c)?.way)));
    let active = ways.filter(|(_, way)| {
        !(way.removals.is_empty() && way.removed_without_tool.is_empty() && way.refused.is_empty())
    });
    Decisions {
        chosen: active
            .map(|(c, way)| (c, way.clone().into_owned()))
            .collect(),
        decisions,
        trees: loads,
        pins_without_object: facts.standing.pins_without_object.clone(),
    }
}

fn decision(facts: &Facts<'_>, fruitlet: usize, bound: &TreeBound) -> Option<Decision> {
    let ground = ground::of(facts, fruitlet, bound)?;
    Some(Decision {
        fruitlet_idx: fruitlet,
        action: ground.action(),
        rule: ground.rule(),
        reason: sentence::of(facts, fruitlet, &ground),
        confidence: confidence::of(facts, fruitlet, &ground),
    })
}

fn load(facts: &Facts<'_>, tree: &TreeGroup, plan: &TreePlan, decisions: &[Decision]) -> TreeLoad {
    let count = |action: Action| decisions.iter().filter(|d| d.action == action).count();
    TreeLoad {
        tree_idx: tree.tree_idx,
        trunk_area_cm2: plan.target.trunk_area_cm2,
        target: plan.target.target.map(|(fruit, _)| fruit),
        to_leave: plan.to_leave,
        bound: plan.target.target.map(|(_, bound)| bound),
        binds: plan.binds,
        no_target_because: plan.target.none_because.clone(),
        unmet: unmet::of_tree(facts, tree, plan),
        found: tree.fruit.len(),
        unseen: plan.unseen,
        kept: count(Action::Keep),
        removed: count(Action::Remove),
        look_again: count(Action::LookAgain),
    }
}
