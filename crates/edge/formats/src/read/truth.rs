//! `truth.json`, for scoring alone.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::limits::Limits;
use crate::problem::Problems;
use crate::read::checks::{Ids, filled, point, positive, unit_vector, unknown_name};
use crate::read::document::{Grammar, Loaded, read_document};
use crate::source::at_path;
use crate::wire::truth::{TrueFruitletWire, TruthFile};
use corymb_model::orchard::{OrchardModel, Tree};
use corymb_model::run::Run;
use corymb_model::truth::{TrueFruitlet, Truth};
use std::collections::BTreeMap;
use std::path::Path;

/// Reads the truth of `run` from a file that is plain, `.gz` or `.zst`. Not every frame need be labelled.
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
    let mut ids = Ids::of("fruitlet");
    let fruitlets = file.fruitlets.into_iter().enumerate();
    let fruitlets = fruitlets
        .filter_map(|(at, f)| {
            let here = place!["fruitlets", at];
            ids.add(&f.id, || place![in here; "id"], out);
            check_fruitlet(f, run.orchard.as_ref(), &here, out)
        })
        .collect();
    let boxes: BTreeMap<&str, usize> = run
        .frames
        .iter()
        .map(|f| (f.id.as_str(), f.detections.len()))
        .collect();
    let mut detections = BTreeMap::new();
    for (frame, labels) in file.detections {
        let here = place!["detections", &frame];
        match boxes.get(frame.as_str()) {
            None => out.push(
                unknown_name(
                    Code::FrameUnknown,
                    here,
                    &frame,
                    boxes.keys().copied(),
                    "frame",
                )
                .found(&frame),
            ),
            Some(count) if *count != labels.len() => {
                let found = format!("{} labels", labels.len());
                let expected = format!("{count} labels, as the frame has detections");
                out.push(Finding::new(Code::DetectionsLength, here, expected).found(found));
            }
            Some(_) => {
                let labels = check_labels(&labels, &ids, &here, out);
                detections.insert(frame, labels);
            }
        }
    }
    Truth {
        fruitlets,
        detections,
        ..Truth::default()
    }
}

fn check_labels(
    labels: &[Option<String>],
    ids: &Ids,
    at: &Place,
    out: &mut Findings,
) -> Vec<Option<usize>> {
    let mut checked = Vec::with_capacity(labels.len());
    for (index, label) in labels.iter().enumerate() {
        let position = label.as_deref().and_then(|id| ids.position(id));
        if let (Some(id), None) = (label, position) {
            out.push(unknown_name(
                Code::FruitletUnknown,
                place![in at; index],
                id,
                ids.names(),
                "fruitlet",
            ));
        }
        checked.push(position);
    }
    checked
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
        check_tree(&f, &orchard.trees, at, out);
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

fn check_tree(f: &TrueFruitletWire, trees: &[Tree], at: &Place, out: &mut Findings) {
    let Some(tree) = trees.iter().find(|t| t.id == f.tree) else {
        let known = trees.iter().map(|t| t.id.as_str());
        return out.push(unknown_name(
            Code::TreeUnknown,
            place![in at; "tree"],
            &f.tree,
            known,
            "tree",
        ));
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
