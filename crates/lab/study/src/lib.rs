//! Studies: scenes, seeds, settings and estimators over ranges; a row for each run, and the table at the end.
//!
//! A [`StudyFile`] says what is compared; [`StudyFile::resolve`] turns it into a [`Study`], every combination of it
//! checked. [`run_study`] simulates each scene with each seed once, has every [`Contestant`] map it under all settings
//! and scores what comes out; [`summarise`] takes means over the seeds with 95 % intervals. All data is invented, by
//! the simulator.
//!
//! The same study gives the same rows on any number of threads. At most one run a thread is in memory.

mod combine;
mod estimator;
mod figures;
mod file;
mod plan;
mod problem;
mod render;
mod resolve;
mod rows;
mod summary;
mod workers;

pub use estimator::{Contestant, Estimate, Estimator, Given, Oracle, Standard};
pub use figures::{FIGURES, FigureKind, OF_THE_RUN};
pub use file::{SceneEntry, Seeds, StudyFile};
pub use plan::{SceneCase, SettingsCase, Study};
pub use problem::{ProblemKind, StudyProblem};
pub use render::{rows_csv, table_csv, table_markdown, table_text};
pub use resolve::Files;
pub use rows::{Row, Rows, RunOptions, StudyError, StudyEvent, run_study};
pub use summary::{Line, MeanInterval, Summary, summarise};
