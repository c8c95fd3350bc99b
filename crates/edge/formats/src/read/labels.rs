//! Labels of a truth file: names of objects, and what stands under the ids of frames.

use crate::codes::Code;
use crate::findings::{Finding, Findings, Place, place};
use crate::read::checks::{Ids, share, unknown_name};
use crate::read::frames::check_box;
use crate::wire::num::Num;
use crate::wire::truth::{TrueBoxWire, TruthFile};
use corymb_model::run::{Camera, Frame, Run};
use corymb_model::truth::TrueBox;
use std::collections::{BTreeMap, BTreeSet};

/// The objects that labels may name.
pub(crate) struct Names {
    listed: Ids,
    /// Where nothing is listed: the names that labels use, in order.
    by_use: Option<BTreeMap<String, usize>>,
}

impl Names {
    /// Of a file that lists its objects none is known yet; else those that its labels name.
    pub(crate) fn of(file: &TruthFile) -> Self {
        let listed = file.fruitlets.is_some() || file.objects.is_some();
        let by_use = (!listed).then(|| {
            let labels = file.detections.iter().flatten().flat_map(|f| f.1).flatten();
            let boxes = file.boxes.iter().flatten().flat_map(|f| f.1);
            let names: BTreeSet<&String> = labels
                .chain(boxes.filter_map(|b| b.object.as_ref()))
                .collect();
            (names.into_iter().cloned().zip(0..)).collect()
        });
        Self {
            listed: Ids::of("fruitlet or object"),
            by_use,
        }
    }

    /// Adds a listed object.
    pub(crate) fn add(&mut self, id: &str, at: &Place, out: &mut Findings) {
        self.listed.add(id, || place![in at; "id"], out);
    }

    /// Names that stand only in labels, where no object is listed.
    pub(crate) fn by_use(&self) -> impl Iterator<Item = &str> {
        self.by_use.iter().flatten().map(|(name, _)| name.as_str())
    }

    fn position(&self, id: &str) -> Option<usize> {
        match &self.by_use {
            Some(names) => names.get(id).copied(),
            None => self.listed.position(id),
        }
    }

    /// The object of a label; an unknown or empty name is a problem.
    fn find(&self, id: &str, place: impl FnOnce() -> Place, out: &mut Findings) -> Option<usize> {
        if id.trim().is_empty() {
            out.push(Finding::new(Code::TextEmpty, place(), "a name"));
            return None;
        }
        let position = self.position(id);
        out.unless(position.is_some(), || {
            let known = self.listed.names();
            unknown_name(
                Code::FruitletUnknown,
                place(),
                id,
                known,
                "fruitlet or object",
            )
        });
        position
    }
}

/// The labelled frames.
pub(crate) struct Labelled<'a> {
    run: &'a Run,
    frames: BTreeMap<&'a str, &'a Frame>,
    names: &'a Names,
}

impl<'a> Labelled<'a> {
    pub(crate) fn of(run: &'a Run, names: &'a Names) -> Self {
        Self {
            run,
            frames: run.frames.iter().map(|f| (f.id.as_str(), f)).collect(),
            names,
        }
    }

    /// Labels of detections, as many as each frame has.
    pub(crate) fn detections(
        &self,
        part: BTreeMap<String, Vec<Option<String>>>,
        out: &mut Findings,
    ) -> BTreeMap<String, Vec<Option<usize>>> {
        self.by_frame("detections", part, out, |labels, frame, here, out| {
            let count = frame.detections.len();
            if count != labels.len() {
                let found = format!("{} labels", labels.len());
                let expected = format!("{count} labels, as the frame has detections");
                let finding = Finding::new(Code::DetectionsLength, here.clone(), expected);
                out.push(finding.found(found));
                return Vec::new();
            }
            let labels = labels.into_iter().enumerate();
            labels
                .map(|(at, id)| self.names.find(&id?, || place![in here; at], out))
                .collect()
        })
    }

    /// True boxes.
    pub(crate) fn boxes(
        &self,
        part: BTreeMap<String, Vec<TrueBoxWire>>,
        out: &mut Findings,
    ) -> BTreeMap<String, Vec<TrueBox>> {
        self.by_frame("boxes", part, out, |boxes, frame, here, out| {
            let boxes = boxes.into_iter().enumerate();
            boxes
                .map(|(at, b)| self.true_box(&b, frame, &place![in here; at], out))
                .collect()
        })
    }

    fn true_box(
        &self,
        wire: &TrueBoxWire,
        frame: &Frame,
        here: &Place,
        out: &mut Findings,
    ) -> TrueBox {
        let object = wire.object.as_deref();
        TrueBox {
            class: wire.class.into(),
            object: object.and_then(|id| self.names.find(id, || place![in here; "object"], out)),
            box_px: self.rectangle(wire.box_px, frame, || place![in here; "box_px"], out),
            visible_share: (wire.visible_share)
                .map(|n| share(n, || place![in here; "visible_share"], out)),
        }
    }

    /// Parts of images that were not labelled.
    pub(crate) fn left_out(
        &self,
        part: BTreeMap<String, Vec<[Num; 4]>>,
        out: &mut Findings,
    ) -> BTreeMap<String, Vec<[f64; 4]>> {
        self.by_frame("left_out", part, out, |regions, frame, here, out| {
            let regions = regions.into_iter().enumerate();
            regions
                .map(|(at, r)| self.rectangle(r, frame, || place![in here; at], out))
                .collect()
        })
    }

    fn rectangle(
        &self,
        wire: [Num; 4],
        frame: &Frame,
        place: impl Fn() -> Place,
        out: &mut Findings,
    ) -> [f64; 4] {
        let box_px = wire.map(|n| n.0);
        check_box(&box_px, self.camera(frame), place, out);
        box_px
    }

    fn camera(&self, frame: &Frame) -> Option<&Camera> {
        self.run.cameras.get(frame.camera_idx)
    }

    /// What stands under each frame's id, turned by `one`; an unknown frame is a problem.
    fn by_frame<W, T>(
        &self,
        part: &str,
        frames: BTreeMap<String, W>,
        out: &mut Findings,
        mut one: impl FnMut(W, &Frame, &Place, &mut Findings) -> T,
    ) -> BTreeMap<String, T> {
        let mut checked = BTreeMap::new();
        for (id, wire) in frames {
            let here = place![part, &id];
            match self.frames.get(id.as_str()) {
                Some(frame) => {
                    let value = one(wire, frame, &here, out);
                    checked.insert(id, value);
                }
                None => {
                    let known = self.frames.keys().copied();
                    let finding = unknown_name(Code::FrameUnknown, here, &id, known, "frame");
                    out.push(finding.found(&id));
                }
            }
        }
        checked
    }
}
