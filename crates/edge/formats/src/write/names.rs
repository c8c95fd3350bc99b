//! From positions inside the program to the ids of files.

use crate::write::error::WriteError;
use corymb_model::map::CropMap;
use corymb_model::orchard::{Limb, OrchardModel, Tree};
use corymb_model::run::{BoxRef, Run};

/// Resolves positions for one file; a position without an entry is an error, never a panic.
#[derive(Clone, Copy)]
pub(crate) struct Names<'a> {
    pub(crate) file: &'static str,
    pub(crate) run: &'a Run,
    pub(crate) map: &'a CropMap,
}

impl<'a> Names<'a> {
    pub(crate) fn entry<T>(
        &self,
        kind: &'static str,
        list: &'a [T],
        position: usize,
    ) -> Result<&'a T, WriteError> {
        list.get(position).ok_or(WriteError::Position {
            file: self.file,
            kind,
            position,
            count: list.len(),
        })
    }

    fn trees(&self) -> &'a [Tree] {
        self.run
            .orchard
            .as_ref()
            .map_or(&[], |o: &OrchardModel| &o.trees)
    }

    pub(crate) fn tree(&self, tree_idx: Option<usize>) -> Result<Option<&'a Tree>, WriteError> {
        tree_idx
            .map(|at| self.entry("tree", self.trees(), at))
            .transpose()
    }

    pub(crate) fn tree_id(&self, tree_idx: Option<usize>) -> Result<Option<String>, WriteError> {
        Ok(self.tree(tree_idx)?.map(|t| t.id.clone()))
    }

    pub(crate) fn limb_id(
        &self,
        tree_idx: Option<usize>,
        limb_idx: Option<usize>,
    ) -> Result<Option<String>, WriteError> {
        let limbs: &[Limb] = self.tree(tree_idx)?.map_or(&[], |t| &t.limbs);
        limb_idx
            .map(|at| self.entry("limb", limbs, at).map(|l| l.id.clone()))
            .transpose()
    }

    pub(crate) fn cluster(&self, at: usize) -> Result<&'a corymb_model::map::Cluster, WriteError> {
        self.entry("cluster", &self.map.clusters, at)
    }

    pub(crate) fn fruitlet(
        &self,
        at: usize,
    ) -> Result<&'a corymb_model::map::Fruitlet, WriteError> {
        self.entry("fruitlet", &self.map.fruitlets, at)
    }

    pub(crate) fn fruitlet_ids(&self, all: &[usize]) -> Result<Vec<String>, WriteError> {
        all.iter()
            .map(|at| self.fruitlet(*at).map(|f| f.id.clone()))
            .collect()
    }

    pub(crate) fn camera_id(&self, at: usize) -> Result<String, WriteError> {
        self.entry("camera", &self.run.cameras, at)
            .map(|c| c.id.clone())
    }

    /// Frame id and index of a detection.
    pub(crate) fn detection(&self, at: BoxRef) -> Result<(String, u32), WriteError> {
        let frame = self.entry("frame", &self.run.frames, at.frame_idx as usize)?;
        self.entry("detection", &frame.detections, at.detection_idx as usize)?;
        Ok((frame.id.clone(), at.detection_idx))
    }
}
