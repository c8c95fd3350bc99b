//! A study with the plain way and the oracle beside the method: `study [STUDY.toml] [OUT_DIR]`.
//!
//! The table goes to stdout; with a folder, rows and tables go there too. Without a study it is the worked one that
//! `benches/README.md` shows.

#![allow(clippy::print_stdout, clippy::print_stderr)] // a program of a few lines that talks to its user

use corymb_benches::files::Disk;
use corymb_benches::known::KnownIdentities;
use corymb_benches::plain::Plain;
use corymb_formats::read_toml;
use corymb_study::{
    Contestant, RunOptions, Standard, StudyEvent, StudyFile, rows_csv, run_study, summarise,
    table_csv, table_markdown,
};
use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

fn main() -> ExitCode {
    match study() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}

fn study() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args_os().skip(1).map(PathBuf::from);
    let worked = "../fixtures/studies/detectors_and_rigs.toml";
    let path = arguments
        .next()
        .unwrap_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join(worked));
    let file: StudyFile = read_toml(&path)?.value;
    let mut disk = Disk::beside(&path);
    let study = file
        .resolve(&mut disk)
        .map_err(|list| disk.account(&list))?;
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
    if let Some(folder) = arguments.next() {
        std::fs::create_dir_all(&folder)?;
        std::fs::write(folder.join("rows.csv"), rows_csv(&rows))?;
        std::fs::write(folder.join("table.csv"), table_csv(&summary))?;
        std::fs::write(folder.join("table.md"), table_markdown(&summary))?;
    }
    Ok(())
}
