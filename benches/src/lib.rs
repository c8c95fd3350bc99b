//! What the benchmarks share: an invented run on disk, with a policy and an arm.

use corymb_formats::{Packing, read_arm, read_policy, read_run, write_run};
use corymb_job::{JobConfig, JobOutput, run_job};
use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use corymb_simulate::{SceneSpec, simulate};
use std::path::{Path, PathBuf};

/// A run folder of the scene `platform` and what the job needs besides.
pub struct Bench {
    folder: tempfile::TempDir,
    policy: Policy,
    setup: ArmSetup,
    /// Boxes of the run.
    pub boxes: usize,
}

impl Bench {
    /// Simulates the scene and writes it.
    ///
    /// # Errors
    /// What hinders the simulation, the writing or the reading, in words.
    pub fn platform(seed: u64) -> Result<Self, String> {
        let simulated = simulate(&SceneSpec::platform(), seed).map_err(|e| e.to_string())?;
        let folder = tempfile::tempdir().map_err(|e| e.to_string())?;
        write_run(folder.path(), &simulated.run, Packing::Gzip).map_err(|e| e.to_string())?;
        let fixture = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/two_trees");
        let policy = read_policy(&fixture.join("policy.toml")).map_err(|e| e.to_string())?;
        let setup = read_arm(&fixture.join("arm.toml")).map_err(|e| e.to_string())?;
        Ok(Self {
            boxes: simulated
                .run
                .frames
                .iter()
                .map(|f| f.detections.len())
                .sum(),
            folder,
            policy: policy.value,
            setup: setup.value,
        })
    }

    /// The run folder.
    #[must_use]
    pub fn folder(&self) -> PathBuf {
        self.folder.path().to_path_buf()
    }

    /// Reads the run and does the whole job, up to the orders.
    ///
    /// # Errors
    /// What hinders the reading, in words.
    pub fn run(&self) -> Result<JobOutput, String> {
        let run = read_run(self.folder.path()).map_err(|e| e.to_string())?.run;
        let config = JobConfig::default();
        Ok(run_job(
            &run,
            Some(&self.policy),
            Some(&self.setup),
            &config,
            &|_| (),
        ))
    }
}
