//! The oracle: true identities of all body boxes, the method's own refinement and everything after it.

use corymb_fusion::fuse_known;
use corymb_simulate::Simulated;
use corymb_study::{Estimate, Given, Oracle};

/// What the method would reach if association were free of error.
#[derive(Debug, Clone, Copy, Default)]
pub struct KnownIdentities;

impl Oracle for KnownIdentities {
    fn name(&self) -> &str {
        "known identities"
    }

    fn estimate(&self, simulated: &Simulated, given: &Given<'_>) -> Estimate {
        let run = &simulated.run;
        let of = |id: &String| simulated.truth.detections.get(id).cloned();
        let identity: Vec<Vec<Option<usize>>> = (run.frames.iter())
            .map(|f| of(&f.id).unwrap_or_default())
            .collect();
        let scene = fuse_known(run, &identity, &given.config.fusion);
        Estimate {
            map: corymb_clusters::cluster(run, &scene, &given.config.clusters),
            ..Estimate::default()
        }
    }
}
