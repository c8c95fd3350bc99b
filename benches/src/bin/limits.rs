//! Every kind of run with half, once and twice its noise: the method between the plain way and known identities.
//! `limits [SEEDS] [OUT_DIR] [KIND..]`: ten seeds and all kinds unless told otherwise.
//!
//! The table goes to stdout; with a folder, rows and tables go there too.

#![allow(clippy::print_stdout, clippy::print_stderr)] // a program of a few lines that talks to its user

use corymb_benches::known::KnownIdentities;
use corymb_benches::noise::with_noise;
use corymb_benches::plain::Plain;
use corymb_job::JobConfig;
use corymb_simulate::SceneSpec;
use corymb_study::{
    Contestant, FigureKind, RunOptions, SceneCase, SettingsCase, Standard, Study, StudyEvent,
    rows_csv, run_study, summarise, table_csv, table_markdown,
};
use std::error::Error;
use std::path::Path;
use std::process::ExitCode;

/// Scenes of `fixtures/scenes`, one a kind of run.
const KINDS: [&str; 9] = [
    "close",
    "platform",
    "sparse_views",
    "hard",
    "dense",
    "single_camera_phone",
    "two_sides",
    "no_orchard",
    "larger_fruit",
];
/// Times the noise that the scene has.
const NOISE: [f64; 3] = [0.5, 1.0, 2.0];
const SEEDS: u64 = 10;

fn main() -> ExitCode {
    match limits() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}

fn limits() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let seeds = arguments.next().map_or(Ok(SEEDS), |text| text.parse())?;
    let folder = arguments.next();
    let mut kinds: Vec<String> = arguments.collect();
    if kinds.is_empty() {
        kinds = KINDS.map(str::to_owned).to_vec();
    }
    let study = study(&kinds, (1..=seeds).collect())?;
    let contestants = [
        Contestant::Estimator(&Standard),
        Contestant::Estimator(&Plain::default()),
        Contestant::Oracle(&KnownIdentities),
    ];
    let told = |event: StudyEvent<'_>| eprintln!("{}, seed {}", event.scene, event.seed);
    let options = RunOptions {
        threads: std::thread::available_parallelism().map_or(1, Into::into),
        watch: &told,
        clock: None,
    };
    let rows = run_study(&study, &contestants, &options)?;
    let summary = summarise(&rows);
    print!("{}", table_markdown(&summary));
    if let Some(folder) = folder {
        let folder = Path::new(&folder);
        std::fs::create_dir_all(folder)?;
        std::fs::write(folder.join("rows.csv"), rows_csv(&rows))?;
        std::fs::write(folder.join("table.csv"), table_csv(&summary))?;
        std::fs::write(folder.join("table.md"), table_markdown(&summary))?;
    }
    Ok(())
}

fn study(kinds: &[String], seeds: Vec<u64>) -> Result<Study, String> {
    let mut scenes = Vec::new();
    for kind in kinds {
        let spec = SceneSpec::named(kind);
        let spec = spec.ok_or_else(|| format!("no scene is called {kind:?}"))?;
        scenes.extend(NOISE.map(|factor| SceneCase {
            name: kind.clone(),
            values: vec![factor.to_string()],
            spec: with_noise(&spec, factor),
        }));
    }
    Ok(Study {
        name: "limits".to_owned(),
        seeds,
        varied: vec!["noise".to_owned()],
        varied_settings: Vec::new(),
        scenes,
        settings: vec![SettingsCase {
            values: Vec::new(),
            config: JobConfig::default(),
        }],
        figures: figures(),
        policy: None,
        setup: None,
    })
}

fn figures() -> Vec<FigureKind> {
    let figure = |name, decimals, path| FigureKind {
        decimals,
        ..FigureKind::at(name, path)
    };
    let fruit = "shift_removed.fruitlets";
    vec![
        figure("F1", 3, &format!("{fruit}.f1")),
        figure("F1 in place", 3, "absolute.fruitlets.f1"),
        figure("HOTA", 3, "association.bodies.hota"),
        figure("centre mm", 2, &format!("{fruit}.position_error_mm")),
        figure("diameter mm", 2, &format!("{fruit}.diameter_error_mm")),
        figure("in 90 %", 3, "shift_removed.calibration.inside_90_centre"),
    ]
}
