//! Running a study: every scene with every seed once, every contestant under all settings.

use crate::estimator::{Contestant, Given};
use crate::figures::FigureKind;
use crate::plan::{SceneCase, SettingsCase, Study};
use crate::workers::in_order;
use corymb_score::{ScoreInput, score};
use corymb_simulate::{SimulateError, Simulated, simulate};
use thiserror::Error;

/// How a study is run.
pub struct RunOptions<'a> {
    /// Threads, 1 or more; the rows do not depend on it.
    pub threads: usize,
    /// Hears each run that is done, from the thread that did it.
    pub watch: &'a (dyn Fn(StudyEvent<'_>) + Sync),
    /// Seconds since any moment; where given, rows tell how long each estimate took.
    pub clock: Option<&'a (dyn Fn() -> f64 + Sync)>,
}

/// A run that is done with all its contestants and settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StudyEvent<'a> {
    /// The scene.
    pub scene: &'a str,
    /// The seed.
    pub seed: u64,
}

/// What one contestant made of one run under one combination of settings.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Name of the scene.
    pub scene: String,
    /// What varies, in the order of [`Rows::varied`].
    pub values: Vec<String>,
    /// The seed.
    pub seed: u64,
    /// Name of the contestant.
    pub estimator: String,
    /// In the order of [`Rows::figures`]; `None` where a figure is not defined.
    pub figures: Vec<Option<f64>>,
    /// How long the estimate took, where asked.
    pub seconds: Option<f64>,
}

/// All rows of a study: by scene, settings, contestant, seed.
#[derive(Debug, Clone, PartialEq)]
pub struct Rows {
    /// Names of what varies: paths of the scene, then of the settings.
    pub varied: Vec<String>,
    /// The figures of each row.
    pub figures: Vec<FigureKind>,
    /// The rows.
    pub rows: Vec<Row>,
}

/// Why a study came to no end.
#[derive(Debug, Error)]
pub enum StudyError {
    /// A scene that cannot be simulated.
    #[error("scene {scene} with seed {seed}: {source}")]
    Scene {
        /// Its name.
        scene: String,
        /// The seed.
        seed: u64,
        /// Why not.
        source: SimulateError,
    },
    /// Threads that the system refuses.
    #[error("cannot start {threads} threads: {source}")]
    Threads {
        /// How many were asked for.
        threads: usize,
        /// What the system says.
        source: rayon::ThreadPoolBuildError,
    },
}

/// Runs the study with all contestants. Work grows with scenes times seeds times settings times contestants; each
/// thread holds one run at a time.
///
/// # Errors
/// A scene that cannot be simulated (the first, in the order of the study), or threads that the system refuses.
pub fn run_study(
    study: &Study,
    contestants: &[Contestant<'_>],
    options: &RunOptions<'_>,
) -> Result<Rows, StudyError> {
    let work = |k: usize| {
        let scene = &study.scenes[k / study.seeds.len()];
        let seed = study.seeds[k % study.seeds.len()];
        let rows = rows_of_run(study, scene, seed, contestants, options)?;
        let name = &scene.name;
        (options.watch)(StudyEvent { scene: name, seed });
        Ok(rows)
    };
    let threads = options.threads;
    let of_runs = in_order(study.runs(), threads, &work)
        .map_err(|source| StudyError::Threads { threads, source })?;
    let of_runs = of_runs.into_iter().collect::<Result<Vec<_>, _>>()?;
    let varied = study.varied.iter().chain(&study.varied_settings);
    Ok(Rows {
        varied: varied.cloned().collect(),
        figures: study.figures.clone(),
        rows: by_combination(study, of_runs),
    })
}

/// The rows of one run: by settings, then contestant.
fn rows_of_run(
    study: &Study,
    scene: &SceneCase,
    seed: u64,
    contestants: &[Contestant<'_>],
    options: &RunOptions<'_>,
) -> Result<Vec<Row>, StudyError> {
    let simulated = simulate(&scene.spec, seed).map_err(|source| StudyError::Scene {
        scene: scene.name.clone(),
        seed,
        source,
    })?;
    let mut rows = Vec::with_capacity(study.settings.len() * contestants.len());
    for settings in &study.settings {
        for contestant in contestants {
            let (figures, seconds) = judged(study, &simulated, settings, contestant, options);
            rows.push(Row {
                scene: scene.name.clone(),
                values: scene
                    .values
                    .iter()
                    .chain(&settings.values)
                    .cloned()
                    .collect(),
                seed,
                estimator: contestant.name().to_owned(),
                figures,
                seconds,
            });
        }
    }
    Ok(rows)
}

fn judged(
    study: &Study,
    simulated: &Simulated,
    settings: &SettingsCase,
    contestant: &Contestant<'_>,
    options: &RunOptions<'_>,
) -> (Vec<Option<f64>>, Option<f64>) {
    let (policy, setup) = (study.policy.as_ref(), study.setup.as_ref());
    let given = Given {
        config: &settings.config,
        policy,
        setup,
    };
    let begun = options.clock.map(|clock| clock());
    let estimate = contestant.estimate(simulated, &given);
    let seconds = options
        .clock
        .zip(begun)
        .map(|(clock, begun)| clock() - begun);
    let scores = score(&ScoreInput {
        run: &simulated.run,
        truth: &simulated.truth,
        map: Some(&estimate.map),
        decisions: estimate.decisions.as_ref(),
        tasks: estimate.tasks.as_ref(),
        policy,
        setup,
        true_orchard: Some(&simulated.true_orchard),
    });
    // a score is plain data, so this cannot fail; were it to, no figure would be defined
    let scores = serde_json::to_value(&scores).unwrap_or_default();
    let figures = study.figures.iter();
    (
        figures.map(|f| f.value(simulated, &scores)).collect(),
        seconds,
    )
}

/// From the order of the work (scene, seed, then the rows of a run) to that of reading: seeds together.
fn by_combination(study: &Study, of_runs: Vec<Vec<Row>>) -> Vec<Row> {
    let mut keyed: Vec<((usize, usize, usize), Row)> = Vec::new();
    for (k, rows) in of_runs.into_iter().enumerate() {
        let (scene, seed) = (k / study.seeds.len(), k % study.seeds.len());
        let keyed_rows = rows.into_iter().enumerate();
        keyed.extend(keyed_rows.map(|(nth, row)| ((scene, nth, seed), row)));
    }
    keyed.sort_by_key(|k| k.0);
    keyed.into_iter().map(|(_, row)| row).collect()
}
