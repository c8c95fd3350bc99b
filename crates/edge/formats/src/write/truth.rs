//! `truth.json`, for simulators and labelling tools.

use crate::read::document::VERSION;
use crate::wire::num::{Num, metres3, unit3};
use crate::wire::truth::{
    HandCountWire, NamedObjectWire, TrueBoxWire, TrueFruitletWire, TruthFile,
};
use crate::write::error::WriteError;
use crate::write::publish::Publication;
use corymb_model::truth::{Counted, HandCount, NamedObject, TrueBox, TrueFruitlet, Truth};
use std::collections::BTreeMap;
use std::path::Path;

/// Writes truth to a file, packed as the end of its name says. Parts that hold nothing are left out.
///
/// # Errors
/// A number that is not finite, a label without its object, or the disk.
pub fn write_truth(path: &Path, truth: &Truth) -> Result<(), WriteError> {
    Publication::single(path, |publication, name| {
        publication.json(name, &truth_file(truth)?)
    })
}

fn truth_file(truth: &Truth) -> Result<TruthFile, WriteError> {
    let detections = by_frame(&truth.detections, |label| {
        label.map(|at| object_id(truth, at)).transpose()
    })?;
    // the first two stand together, and for a truth that holds nothing at all
    let either = !truth.fruitlets.is_empty() || !detections.is_empty();
    let first_two = either || (truth.boxes.is_empty() && truth.counts.is_empty());
    let fruitlets = truth.fruitlets.iter().map(true_fruitlet).collect();
    Ok(TruthFile {
        version: VERSION,
        fruitlets: first_two.then_some(fruitlets),
        detections: first_two.then_some(detections),
        objects: given(truth.named.iter().map(named_object).collect()),
        boxes: given_frames(by_frame(&truth.boxes, |b| true_box(truth, b))?),
        left_out: given_frames(by_frame(&truth.left_out, |r| Ok(r.map(Num::pixels)))?),
        counts: given(truth.counts.iter().map(hand_count).collect()),
    })
}

fn given<T>(part: Vec<T>) -> Option<Vec<T>> {
    (!part.is_empty()).then_some(part)
}

fn given_frames<T>(part: BTreeMap<String, T>) -> Option<BTreeMap<String, T>> {
    (!part.is_empty()).then_some(part)
}

/// Every entry of every frame turned by `one`.
fn by_frame<T, W>(
    part: &BTreeMap<String, Vec<T>>,
    one: impl Fn(&T) -> Result<W, WriteError>,
) -> Result<BTreeMap<String, Vec<W>>, WriteError> {
    let frame = |(id, list): (&String, &Vec<T>)| {
        let list = list.iter().map(&one).collect::<Result<_, _>>()?;
        Ok((id.clone(), list))
    };
    part.iter().map(frame).collect()
}

fn object_id(truth: &Truth, at: usize) -> Result<String, WriteError> {
    let missing = || WriteError::Position {
        file: "truth",
        kind: "object",
        position: at,
        count: truth.objects(),
    };
    truth.object_id(at).map(str::to_owned).ok_or_else(missing)
}

fn true_fruitlet(f: &TrueFruitlet) -> TrueFruitletWire {
    TrueFruitletWire {
        id: f.id.clone(),
        tree: f.tree.clone(),
        limb: f.limb.clone(),
        cluster: f.cluster.clone(),
        centre_m: metres3(&f.centre.xyz),
        diameter_mm: Num::mm(f.diameter_m),
        axis: unit3(&f.axis.xyz),
        stem_top_m: metres3(&f.stem_top.xyz),
        spur_m: metres3(&f.spur.xyz),
        king: f.king,
    }
}

fn named_object(o: &NamedObject) -> NamedObjectWire {
    NamedObjectWire {
        id: o.id.clone(),
        tree: o.tree.clone(),
        cluster: o.cluster.clone(),
    }
}

fn true_box(truth: &Truth, b: &TrueBox) -> Result<TrueBoxWire, WriteError> {
    Ok(TrueBoxWire {
        class: b.class.into(),
        object: b.object.map(|at| object_id(truth, at)).transpose()?,
        box_px: b.box_px.map(Num::pixels),
        visible_share: b.visible_share.map(Num::share),
    })
}

fn hand_count(c: &HandCount) -> HandCountWire {
    let mut wire = HandCountWire {
        tree: None,
        row: None,
        block: None,
        fruitlets: c.fruitlets,
    };
    match &c.on {
        Counted::Tree(tree) => wire.tree = Some(tree.clone()),
        Counted::Row(row) => wire.row = Some(row.clone()),
        Counted::Block => wire.block = Some(true),
    }
    wire
}
