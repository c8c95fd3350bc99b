//! `truth.json`, for scoring alone.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::{filled, point, positive, unit_vector, unknown_name};
use crate::read::counts::check_counts;
use crate::read::document::{Grammar, Loaded, read_document};
use crate::read::labels::{Labelled, Names};
use crate::source::at_path;
use crate::wire::truth::{NamedObjectWire, TrueFruitletWire, TruthFile};
use corymb_model::orchard::{OrchardModel, Tree};
use corymb_model::run::Run;
use corymb_model::truth::{NamedObject, TrueFruitlet, Truth};
use std::path::Path;

/// Reads the truth of `run` from a file that is plain, `.gz` or `.zst`. It may be partial: any of the places of
/// fruitlets, labels of detections, true boxes and hand counts, and not every frame need be labelled.
///
/// # Errors
/// All problems of the file, up to a limit.
pub fn read_truth(path: &Path, run: &Run) -> Result<Loaded<Truth>, Problems> {
    read_document(
        &at_path(path)?,
        Grammar::Json,
        &Limits::default(),
        |file, out| check_truth(file, run, out),
    )
}

fn check_truth(file: TruthFile, run: &Run, out: &mut Findings) -> Truth {
    check_something(&file, out);
    let mut names = Names::of(&file);
    let fruitlets = file.fruitlets.into_iter().flatten().enumerate();
    let fruitlets = fruitlets
        .filter_map(|(at, f)| {
            let here = place!["fruitlets", at];
            names.add(&f.id, &here, out);
            check_fruitlet(f, run.orchard.as_ref(), &here, out)
        })
        .collect();
    let mut named: Vec<NamedObject> = (file.objects.into_iter().flatten().enumerate())
        .map(|(at, object)| {
            let here = place!["objects", at];
            names.add(&object.id, &here, out);
            check_object(object, run.orchard.as_ref(), &here, out)
        })
        .collect();
    named.extend(names.by_use().map(|id| NamedObject {
        id: id.to_owned(),
        tree: None,
        cluster: None,
    }));
    let labels = Labelled::of(run, &names);
    Truth {
        fruitlets,
        named,
        detections: labels.detections(file.detections.unwrap_or_default(), out),
        boxes: labels.boxes(file.boxes.unwrap_or_default(), out),
        left_out: labels.left_out(file.left_out.unwrap_or_default(), out),
        counts: check_counts(file.counts.unwrap_or_default(), run.orchard.as_ref(), out),
    }
}

/// Adds a problem where nothing in the file can be compared with anything.
fn check_something(file: &TruthFile, out: &mut Findings) {
    let labels = file.detections.is_some() || file.boxes.is_some();
    out.unless(
        labels || file.fruitlets.is_some() || file.counts.is_some(),
        || {
            let expected = "at least one of fruitlets, detections, boxes and counts";
            Finding::new(Code::TruthEmpty, place![], expected).found("none of them")
        },
    );
}

fn check_object(
    object: NamedObjectWire,
    orchard: Option<&OrchardModel>,
    at: &Place,
    out: &mut Findings,
) -> NamedObject {
    if let Some(tree) = &object.tree {
        filled(tree, || place![in at; "tree"], out);
        known_tree(tree, orchard, || place![in at; "tree"], out);
    }
    if let Some(cluster) = &object.cluster {
        filled(cluster, || place![in at; "cluster"], out);
    }
    NamedObject {
        id: object.id,
        tree: object.tree,
        cluster: object.cluster,
    }
}

fn check_fruitlet(
    f: TrueFruitletWire,
    orchard: Option<&OrchardModel>,
    at: &Place,
    out: &mut Findings,
) -> Option<TrueFruitlet> {
    filled(&f.tree, || place![in at; "tree"], out);
    filled(&f.cluster, || place![in at; "cluster"], out);
    if let Some(orchard) = orchard {
        check_tree(&f, orchard, at, out);
    }
    let diameter_m = positive(f.diameter_mm, || place![in at; "diameter_mm"], out) / 1e3;
    let axis = unit_vector(&f.axis, || place![in at; "axis"], out)?; // an axis of no length is a finding
    Some(TrueFruitlet {
        centre: point(&f.centre_m),
        diameter_m,
        axis,
        stem_top: point(&f.stem_top_m),
        spur: point(&f.spur_m),
        king: f.king,
        id: f.id,
        tree: f.tree,
        limb: f.limb,
        cluster: f.cluster,
    })
}

/// Adds a problem where the orchard is known and has no such tree, else gives the tree.
pub(crate) fn known_tree<'o>(
    id: &str,
    orchard: Option<&'o OrchardModel>,
    place: impl FnOnce() -> Place,
    out: &mut Findings,
) -> Option<&'o Tree> {
    let trees = &orchard?.trees;
    let tree = trees.iter().find(|t| t.id == id);
    out.unless(tree.is_some(), || {
        let known = trees.iter().map(|t| t.id.as_str());
        unknown_name(Code::TreeUnknown, place(), id, known, "tree")
    });
    tree
}

fn check_tree(f: &TrueFruitletWire, orchard: &OrchardModel, at: &Place, out: &mut Findings) {
    let Some(tree) = known_tree(&f.tree, Some(orchard), || place![in at; "tree"], out) else {
        return;
    };
    if let Some(limb) = f
        .limb
        .as_ref()
        .filter(|id| tree.limbs.iter().all(|l| l.id != **id))
    {
        let known = tree.limbs.iter().map(|l| l.id.as_str());
        out.push(unknown_name(
            Code::LimbUnknown,
            place![in at; "limb"],
            limb,
            known,
            "limb of this tree",
        ));
    }
}
