//! What a command reads.

use crate::args::Plan;
use crate::exit::Failure;
use crate::talk;
use corymb_formats::{Loaded, Problems, RunFolder, read_arm, read_policy, read_run};
use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use corymb_model::run::Run;
use std::collections::BTreeMap;
use std::path::Path;

/// A run with the policy and the arm, where there are.
#[derive(Debug)]
pub(crate) struct Inputs {
    /// The run.
    pub(crate) run: Run,
    /// What to keep.
    pub(crate) policy: Option<Policy>,
    /// With which arm.
    pub(crate) arm: Option<ArmSetup>,
    /// File name -> SHA-256 of its bytes.
    pub(crate) sha256: BTreeMap<String, String>,
}

impl Inputs {
    /// Reads everything; what is odd but usable is told on stderr.
    ///
    /// # Errors
    /// The problems of all files together.
    pub(crate) fn read(run: &Path, plan: &Plan) -> Result<Self, Failure> {
        let mut problems = Problems::default();
        let run = kept(read_run(run), &mut problems);
        let policy = plan.policy.as_deref().map(read_policy);
        let policy = policy.and_then(|read| kept(read, &mut problems));
        let arm = plan.arm.as_deref().map(read_arm);
        let arm = arm.and_then(|read| kept(read, &mut problems));
        let Some(RunFolder {
            run,
            mut inputs,
            warnings,
        }) = run.filter(|_| problems.is_empty())
        else {
            return Err(problems.into());
        };
        for warning in &warnings {
            talk::note(&format!("note: {warning}"));
        }
        Ok(Self {
            policy: policy.map(|p| named(p, &mut inputs)),
            arm: arm.map(|a| named(a, &mut inputs)),
            run,
            sha256: inputs,
        })
    }

    /// Boxes of the run.
    pub(crate) fn boxes(&self) -> usize {
        self.run.frames.iter().map(|f| f.detections.len()).sum()
    }

    /// Trees of the orchard, where known.
    pub(crate) fn trees(&self) -> usize {
        self.run.orchard.as_ref().map_or(0, |o| o.trees.len())
    }
}

/// The value, or its problems added to the others.
pub(crate) fn kept<T>(read: Result<T, Problems>, problems: &mut Problems) -> Option<T> {
    read.map_err(|more| {
        problems.list.extend(more.list);
        problems.cut_short.extend(more.cut_short);
    })
    .ok()
}

/// The value, with its file's digest added to the others.
fn named<T>(loaded: Loaded<T>, sha256: &mut BTreeMap<String, String>) -> T {
    sha256.insert(loaded.file_name, loaded.sha256);
    loaded.value
}
