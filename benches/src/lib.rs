//! What the benchmarks share: an invented run on disk, with a policy and an arm; and ways to measure against.

pub mod files;
pub mod known;
pub mod noise;
pub mod plain;

use corymb_formats::{Packing, read_arm, read_policy, read_run, write_run};
use corymb_job::{JobConfig, JobOutput, run_job};
use corymb_model::arm::ArmSetup;
use corymb_model::map::CropMap;
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
        Self::of(&SceneSpec::platform(), seed)
    }

    /// The scene `platform` with a row of so many trees, passed along whole.
    ///
    /// # Errors
    /// As [`Bench::platform`].
    pub fn row(trees: u32, seed: u64) -> Result<Self, String> {
        let mut spec = SceneSpec::platform();
        for pass in &mut spec.passes {
            pass.exposures = pass.exposures * trees / spec.orchard.trees_per_row;
        }
        spec.orchard.trees_per_row = trees;
        Self::of(&spec, seed)
    }

    fn of(spec: &SceneSpec, seed: u64) -> Result<Self, String> {
        let simulated = simulate(spec, seed).map_err(|e| e.to_string())?;
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

    /// Reads the run, fuses its boxes and divides the fruit among clusters.
    ///
    /// # Errors
    /// What hinders the reading, in words.
    pub fn map(&self) -> Result<CropMap, String> {
        let run = read_run(self.folder.path()).map_err(|e| e.to_string())?.run;
        let config = JobConfig::default();
        let scene = corymb_fusion::fuse(&run, &config.fusion);
        Ok(corymb_clusters::cluster(&run, &scene, &config.clusters))
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

#[cfg(test)]
mod tests {
    use crate::known::KnownIdentities;
    use crate::plain::Plain;
    use corymb_job::JobConfig;
    use corymb_simulate::SceneSpec;
    use corymb_study::{
        Contestant, FIGURES, RunOptions, SceneCase, SettingsCase, Standard, Study, run_study,
    };

    fn figure(row: &corymb_study::Row, name: &str) -> f64 {
        let at = FIGURES.iter().position(|f| f.name == name);
        at.and_then(|k| row.figures[k]).unwrap_or(f64::NAN)
    }

    #[test]
    fn the_method_lies_between_the_plain_way_and_known_identities() {
        let study = Study {
            name: "one".into(),
            seeds: vec![5],
            varied: Vec::new(),
            varied_settings: Vec::new(),
            scenes: vec![SceneCase {
                name: "two trees".into(),
                values: Vec::new(),
                spec: SceneSpec::two_trees(),
            }],
            settings: vec![SettingsCase {
                values: Vec::new(),
                config: JobConfig::default(),
            }],
            figures: FIGURES.to_vec(),
            policy: None,
            setup: None,
        };
        let plain = Plain::default();
        let contestants = [
            Contestant::Estimator(&plain),
            Contestant::Estimator(&Standard),
            Contestant::Oracle(&KnownIdentities),
        ];
        let options = RunOptions {
            threads: 2,
            watch: &|_| (),
            clock: None,
        };
        let rows = run_study(&study, &contestants, &options).map_or(Vec::new(), |r| r.rows);
        assert_eq!(rows.len(), contestants.len());
        let (plain, known) = (&rows[0], &rows[2]);
        for name in ["f1", "hota", "clusters_exact"] {
            let values: Vec<f64> = rows.iter().map(|row| figure(row, name)).collect();
            assert!(values.is_sorted(), "{name}: {values:?}");
        }
        assert!(
            figure(plain, "f1") > 0.4,
            "the plain way is given a fair chance"
        );
        assert!((figure(known, "hota") - 1.0).abs() < 1e-12);
    }
}
