//! What happened on each tree.

use crate::table::{Lean, render};
use corymb_model::decisions::{Decisions, TreeLoad};
use corymb_model::map::CropMap;
use corymb_model::orchard::OrchardModel;
use corymb_model::orders::{TaskList, Work};
use corymb_model::ways::RefusalReason;
use std::collections::{BTreeMap, BTreeSet};

/// Finished results of a run, as far as it went.
#[derive(Debug, Clone, Copy)]
pub struct Results<'a> {
    /// The orchard, where known.
    pub orchard: Option<&'a OrchardModel>,
    /// The map.
    pub map: &'a CropMap,
    /// Decisions, where a policy was given.
    pub decisions: Option<&'a Decisions>,
    /// The task list, where an arm was given.
    pub tasks: Option<&'a TaskList>,
}

/// A tree's figures; `None` where the run did not go that far.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TreeRow {
    /// Id of the tree; `None` for fruit without a tree.
    pub tree: Option<String>,
    /// Fruitlets of existence of at least one half.
    pub found: usize,
    /// Estimate of fruit never seen.
    pub unseen: Option<f64>,
    /// Fruit that the tree should carry.
    pub target: Option<u64>,
    /// Why there is no target.
    pub no_target_because: Option<String>,
    /// Bounds that could not be met, a sentence each.
    pub unmet: Vec<String>,
    /// Fruitlets to keep, to remove, to look at again.
    pub decided: Option<[usize; 3]>,
    /// Fruitlets that an order removes, and those refused by reason.
    pub ordered: Option<usize>,
    /// Fruitlets that ought to go and have no order, by reason.
    pub refused: BTreeMap<RefusalReason, usize>,
}

/// One row a tree in the order of the orchard file, then one for fruit without a tree where there is any.
#[must_use]
pub fn rows(results: &Results<'_>) -> Vec<TreeRow> {
    let trees = results.orchard.map_or(&[][..], |o| &o.trees);
    let mut keys: Vec<Option<usize>> = (0..trees.len()).map(Some).collect();
    if results.map.fruitlets.iter().any(|f| f.tree_idx.is_none()) || trees.is_empty() {
        keys.push(None);
    }
    let ordered = results.tasks.map(ordered_fruit);
    keys.into_iter()
        .map(|key| TreeRow {
            tree: key.and_then(|t| trees.get(t)).map(|t| t.id.clone()),
            ordered: ordered.as_ref().map(|o| {
                o.iter()
                    .filter(|&&f| tree_of(results.map, f) == key)
                    .count()
            }),
            refused: refused_on(results, key),
            ..load_row(results, key)
        })
        .collect()
}

fn tree_of(map: &CropMap, fruitlet_idx: usize) -> Option<usize> {
    map.fruitlets.get(fruitlet_idx).and_then(|f| f.tree_idx)
}

/// Every fruitlet that an order removes: positions in the map.
fn ordered_fruit(tasks: &TaskList) -> BTreeSet<usize> {
    tasks
        .orders
        .iter()
        .filter_map(|order| match &order.work {
            Work::Remove { plan, .. } => Some(plan.targets.iter().copied()),
            Work::Look { .. } => None,
        })
        .flatten()
        .collect()
}

fn refused_on(results: &Results<'_>, key: Option<usize>) -> BTreeMap<RefusalReason, usize> {
    let mut counts = BTreeMap::new();
    let refusals = results.tasks.map_or(&[][..], |t| &t.refusals);
    for refusal in refusals {
        if tree_of(results.map, refusal.fruitlet_idx) == key {
            *counts.entry(refusal.reason).or_insert(0) += 1;
        }
    }
    counts
}

fn load_row(results: &Results<'_>, key: Option<usize>) -> TreeRow {
    let load: Option<&TreeLoad> = results
        .decisions
        .and_then(|d| d.trees.iter().find(|t| t.tree_idx == key));
    let counted = || {
        let here = |f: &&corymb_model::map::Fruitlet| f.is_decided() && f.tree_idx == key;
        results.map.fruitlets.iter().filter(here).count()
    };
    TreeRow {
        found: load.map_or_else(counted, |l| l.found),
        unseen: load.map(|l| l.unseen),
        target: load.and_then(|l| l.target),
        no_target_because: load.and_then(|l| l.no_target_because.clone()),
        unmet: load.map(|l| l.unmet.clone()).unwrap_or_default(),
        decided: load.map(|l| [l.kept, l.removed, l.look_again]),
        ..TreeRow::default()
    }
}

/// The rows as a table, with a total where there are several, then the reasons why fruit has no order and why
/// trees have no target.
#[must_use]
pub fn table(rows: &[TreeRow]) -> String {
    let heads = [
        ("tree", Lean::Left),
        ("found", Lean::Right),
        ("target", Lean::Right),
        ("keep", Lean::Right),
        ("remove", Lean::Right),
        ("look again", Lean::Right),
        ("ordered", Lean::Right),
        ("refused", Lean::Right),
    ];
    let mut lines: Vec<Vec<String>> = rows.iter().map(|row| cells(row, name(row))).collect();
    if rows.len() > 1 {
        lines.push(cells(&total(rows), "all".to_owned()));
    }
    render(&heads, &lines) + &refusals(rows) + &notes(rows)
}

fn name(row: &TreeRow) -> String {
    row.tree.clone().unwrap_or_else(|| "(no tree)".to_owned())
}

fn cells(row: &TreeRow, name: String) -> Vec<String> {
    let or_dash = |v: Option<usize>| v.map_or("-".to_owned(), |n| n.to_string());
    let decided = |k: usize| or_dash(row.decided.map(|d| d[k]));
    vec![
        name,
        row.found.to_string(),
        row.target.map_or("-".to_owned(), |t| t.to_string()),
        decided(0),
        decided(1),
        decided(2),
        or_dash(row.ordered),
        or_dash(row.ordered.map(|_| row.refused.values().sum())),
    ]
}

fn total(rows: &[TreeRow]) -> TreeRow {
    let mut sum = TreeRow {
        found: rows.iter().map(|r| r.found).sum(),
        target: rows.iter().map(|r| r.target).sum(),
        ordered: rows.iter().map(|r| r.ordered).sum(),
        decided: Some([0; 3]),
        ..TreeRow::default()
    };
    for row in rows {
        sum.decided = match (sum.decided, row.decided) {
            (Some(a), Some(b)) => Some([a[0] + b[0], a[1] + b[1], a[2] + b[2]]),
            _ => None,
        };
        for (&reason, &count) in &row.refused {
            *sum.refused.entry(reason).or_insert(0) += count;
        }
    }
    sum
}

fn refusals(rows: &[TreeRow]) -> String {
    let mut lines = Vec::new();
    for row in rows {
        let reasons: Vec<String> = row
            .refused
            .iter()
            .map(|(reason, count)| format!("{} {count}", reason.name()))
            .collect();
        if !reasons.is_empty() {
            lines.push(format!("  {}: {}\n", name(row), reasons.join(", ")));
        }
    }
    if lines.is_empty() {
        return String::new();
    }
    format!("refused, because of:\n{}", lines.concat())
}

fn notes(rows: &[TreeRow]) -> String {
    let mut out = String::new();
    for row in rows {
        if let Some(why) = &row.no_target_because {
            out += &format!("no target for {}: {why}\n", name(row));
        }
        for sentence in &row.unmet {
            out += &format!("not met on {}: {sentence}\n", name(row));
        }
    }
    out
}
