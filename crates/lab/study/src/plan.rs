//! A study ready to run.

use crate::figures::FigureKind;
use corymb_job::JobConfig;
use corymb_model::arm::ArmSetup;
use corymb_model::policy::Policy;
use corymb_simulate::SceneSpec;

/// A study with every combination written out.
#[derive(Debug, Clone)]
pub struct Study {
    /// Its name.
    pub name: String,
    /// Seeds; each scene is simulated once with each.
    pub seeds: Vec<u64>,
    /// Scene paths that vary, in the order of [`SceneCase::values`].
    pub varied: Vec<String>,
    /// Settings that vary, in the order of [`SettingsCase::values`].
    pub varied_settings: Vec<String>,
    /// Scenes, each with each combination of what varies.
    pub scenes: Vec<SceneCase>,
    /// Settings, one entry a combination.
    pub settings: Vec<SettingsCase>,
    /// The figures of each row.
    pub figures: Vec<FigureKind>,
    /// What to keep; `None` = the study ends with the map.
    pub policy: Option<Policy>,
    /// With which arm; `None` = the study ends with the decisions.
    pub setup: Option<ArmSetup>,
}

/// A scene of a study.
#[derive(Debug, Clone, PartialEq)]
pub struct SceneCase {
    /// Name in rows and tables.
    pub name: String,
    /// What stands at each path that varies, as told in rows and tables.
    pub values: Vec<String>,
    /// The scene.
    pub spec: SceneSpec,
}

/// Settings of a study.
#[derive(Debug, Clone, PartialEq)]
pub struct SettingsCase {
    /// What stands at each setting that varies, as told in rows and tables.
    pub values: Vec<String>,
    /// The settings.
    pub config: JobConfig,
}

impl Study {
    /// Runs to be simulated.
    #[must_use]
    pub fn runs(&self) -> usize {
        self.scenes.len() * self.seeds.len()
    }
}
