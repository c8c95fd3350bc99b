//! Fruit counted by hand.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::read::checks::unknown_name;
use crate::read::truth::known_tree;
use crate::wire::truth::HandCountWire;
use corymb_model::orchard::OrchardModel;
use corymb_model::truth::{Counted, HandCount};
use std::collections::BTreeSet;

/// The counts; each names one place, and no place has two.
pub(crate) fn check_counts(
    wires: Vec<HandCountWire>,
    orchard: Option<&OrchardModel>,
    out: &mut Findings,
) -> Vec<HandCount> {
    let mut before = BTreeSet::new();
    let mut counts = Vec::with_capacity(wires.len());
    for (at, wire) in wires.into_iter().enumerate() {
        let here = place!["counts", at];
        let fruitlets = wire.fruitlets;
        let Some(on) = counted(wire, orchard, &here, out) else {
            continue;
        };
        out.unless(before.insert(on.clone()), || {
            let expected = "a place that no other count has";
            Finding::new(Code::CountTwice, here, expected).found(spoken(&on))
        });
        counts.push(HandCount { on, fruitlets });
    }
    counts
}

fn counted(
    wire: HandCountWire,
    orchard: Option<&OrchardModel>,
    here: &Place,
    out: &mut Findings,
) -> Option<Counted> {
    match (wire.tree, wire.row, wire.block) {
        (Some(tree), None, None) => {
            known_tree(&tree, orchard, || place![in here; "tree"], out);
            Some(Counted::Tree(tree))
        }
        (None, Some(row), None) => {
            known_row(&row, orchard, || place![in here; "row"], out);
            Some(Counted::Row(row))
        }
        (None, None, Some(true)) => Some(Counted::Block),
        _ => {
            let expected = "one of tree, row and \"block\": true";
            out.push(Finding::new(Code::CountUnclear, here.clone(), expected));
            None
        }
    }
}

fn known_row(
    id: &str,
    orchard: Option<&OrchardModel>,
    place: impl FnOnce() -> Place,
    out: &mut Findings,
) {
    let Some(orchard) = orchard else { return };
    out.unless(orchard.rows.iter().any(|r| r.id == id), || {
        let known = orchard.rows.iter().map(|r| r.id.as_str());
        unknown_name(Code::RowUnknown, place(), id, known, "row")
    });
}

fn spoken(on: &Counted) -> String {
    match on {
        Counted::Tree(tree) => format!("the tree {tree:?} again"),
        Counted::Row(row) => format!("the row {row:?} again"),
        Counted::Block => "the block again".to_owned(),
    }
}
