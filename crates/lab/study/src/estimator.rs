//! Who is compared: the job itself, other methods, and one that is told the truth.

use corymb_job::{JobConfig, run_job};
use corymb_model::arm::ArmSetup;
use corymb_model::decisions::Decisions;
use corymb_model::map::CropMap;
use corymb_model::orders::TaskList;
use corymb_model::policy::Policy;
use corymb_model::run::Run;
use corymb_simulate::Simulated;

/// What an estimator is given besides the run.
#[derive(Debug, Clone, Copy)]
pub struct Given<'a> {
    /// Settings of the job; a method of its own may take from them what it knows.
    pub config: &'a JobConfig,
    /// What to keep, where the study decides.
    pub policy: Option<&'a Policy>,
    /// With which arm, where the study orders.
    pub setup: Option<&'a ArmSetup>,
}

/// What an estimator makes of a run.
#[derive(Debug, Clone, Default)]
pub struct Estimate {
    /// The crop map.
    pub map: CropMap,
    /// Decisions about the fruitlets of `map`, where it makes any.
    pub decisions: Option<Decisions>,
    /// Orders about the fruitlets of `map`, where it gives any.
    pub tasks: Option<TaskList>,
}

/// A method that maps a run. It sees what a user would have, never the truth. It may use the rayon pool that it is
/// called on; what it returns must not depend on that pool's size.
pub trait Estimator: Sync {
    /// Its name in rows and tables.
    fn name(&self) -> &str;
    /// Maps the run, and where it can decides and orders.
    fn estimate(&self, run: &Run, given: &Given<'_>) -> Estimate;
}

/// A method that is told the truth, wholly or in part: a bound for the others, not a rival.
pub trait Oracle: Sync {
    /// Its name in rows and tables.
    fn name(&self) -> &str;
    /// Maps the run.
    fn estimate(&self, simulated: &Simulated, given: &Given<'_>) -> Estimate;
}

/// Who takes part in a study.
#[derive(Clone, Copy)]
pub enum Contestant<'a> {
    /// Sees the run alone.
    Estimator(&'a dyn Estimator),
    /// Is told the truth.
    Oracle(&'a dyn Oracle),
}

impl Contestant<'_> {
    /// The name in rows and tables.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Contestant::Estimator(estimator) => estimator.name(),
            Contestant::Oracle(oracle) => oracle.name(),
        }
    }

    pub(crate) fn estimate(&self, simulated: &Simulated, given: &Given<'_>) -> Estimate {
        match self {
            Contestant::Estimator(estimator) => estimator.estimate(&simulated.run, given),
            Contestant::Oracle(oracle) => oracle.estimate(simulated, given),
        }
    }
}

/// The job as `corymb run` does it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Standard;

impl Estimator for Standard {
    fn name(&self) -> &str {
        "corymb"
    }

    fn estimate(&self, run: &Run, given: &Given<'_>) -> Estimate {
        let output = run_job(run, given.policy, given.setup, given.config, &|_| ());
        Estimate {
            map: output.map,
            decisions: output.decisions,
            tasks: output.tasks,
        }
    }
}
