//! Ids that output files may refer to.

use crate::codes::Code;
use crate::findings::{Findings, Place};
use crate::read::checks::unknown_name;
use corymb_model::map::CropMap;
use corymb_model::orchard::Tree;
use corymb_model::run::Run;
use std::collections::BTreeMap;

/// Positions by id, of a run and where there is one of its map.
pub(crate) struct Known<'a> {
    pub(crate) run: &'a Run,
    frames: BTreeMap<&'a str, usize>,
    trees: BTreeMap<&'a str, usize>,
    cameras: BTreeMap<&'a str, usize>,
    fruitlets: BTreeMap<&'a str, usize>,
    clusters: BTreeMap<&'a str, usize>,
}

fn positions<'a>(ids: impl Iterator<Item = &'a String>) -> BTreeMap<&'a str, usize> {
    ids.enumerate().map(|(at, id)| (id.as_str(), at)).collect()
}

impl<'a> Known<'a> {
    pub(crate) fn of_run(run: &'a Run) -> Self {
        Self {
            run,
            frames: positions(run.frames.iter().map(|f| &f.id)),
            trees: positions(run.orchard.iter().flat_map(|o| &o.trees).map(|t| &t.id)),
            cameras: positions(run.cameras.iter().map(|c| &c.id)),
            fruitlets: BTreeMap::new(),
            clusters: BTreeMap::new(),
        }
    }

    pub(crate) fn of_map(run: &'a Run, map: &'a CropMap) -> Self {
        let mut known = Self::of_run(run);
        known.fruitlets = positions(map.fruitlets.iter().map(|f| &f.id));
        known.clusters = positions(map.clusters.iter().map(|c| &c.id));
        known
    }

    pub(crate) fn frame(
        &self,
        id: &str,
        place: impl FnOnce() -> Place,
        out: &mut Findings,
    ) -> Option<usize> {
        find(&self.frames, Code::FrameUnknown, "frame", id, place, out)
    }

    pub(crate) fn tree(
        &self,
        id: &str,
        place: impl FnOnce() -> Place,
        out: &mut Findings,
    ) -> Option<usize> {
        find(&self.trees, Code::TreeUnknown, "tree", id, place, out)
    }

    pub(crate) fn camera(
        &self,
        id: &str,
        place: impl FnOnce() -> Place,
        out: &mut Findings,
    ) -> Option<usize> {
        find(&self.cameras, Code::CameraUnknown, "camera", id, place, out)
    }

    pub(crate) fn fruitlet(
        &self,
        id: &str,
        place: impl FnOnce() -> Place,
        out: &mut Findings,
    ) -> Option<usize> {
        find(
            &self.fruitlets,
            Code::FruitletUnknown,
            "fruitlet",
            id,
            place,
            out,
        )
    }

    pub(crate) fn cluster(
        &self,
        id: &str,
        place: impl FnOnce() -> Place,
        out: &mut Findings,
    ) -> Option<usize> {
        find(
            &self.clusters,
            Code::ClusterUnknown,
            "cluster",
            id,
            place,
            out,
        )
    }

    /// The positions of several fruitlets; those that are unknown are left out.
    pub(crate) fn fruitlets(
        &self,
        ids: &[String],
        place: impl Fn(usize) -> Place,
        out: &mut Findings,
    ) -> Vec<usize> {
        ids.iter()
            .enumerate()
            .filter_map(|(at, id)| self.fruitlet(id, || place(at), out))
            .collect()
    }

    pub(crate) fn tree_at(&self, tree_idx: Option<usize>) -> Option<&'a Tree> {
        self.run.orchard.as_ref()?.trees.get(tree_idx?)
    }
}

fn find(
    among: &BTreeMap<&str, usize>,
    code: Code,
    kind: &str,
    id: &str,
    place: impl FnOnce() -> Place,
    out: &mut Findings,
) -> Option<usize> {
    let position = among.get(id).copied();
    if position.is_none() {
        out.push(unknown_name(code, place(), id, among.keys().copied(), kind));
    }
    position
}
