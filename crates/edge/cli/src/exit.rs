//! How the program ends. Exit codes are a contract.

use corymb_formats::{Problems, WriteError};
use corymb_simulate::SimulateError;
use corymb_simulate::spec::OverrideError;
use corymb_study::StudyError;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::process::ExitCode;
use thiserror::Error;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// All is done.
    Done,
    /// Done, and the answer is no.
    #[cfg_attr(
        not(test),
        expect(
            dead_code,
            reason = "no command asks a question yet; the code is reserved"
        )
    )]
    No,
    /// Usage, configuration or input is wrong.
    Wrong,
    /// Done, but some input was unusable.
    Loss,
    /// A bug of ours.
    Bug,
}

impl Exit {
    /// The number that the shell sees.
    pub(crate) fn code(self) -> u8 {
        match self {
            Exit::Done => 0,
            Exit::No => 1,
            Exit::Wrong => 2,
            Exit::Loss => 3,
            Exit::Bug => 70,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        ExitCode::from(exit.code())
    }
}

/// Why a command did not do what was asked.
#[derive(Debug, Error)]
pub(crate) enum Failure {
    /// Files with problems.
    #[error("{0}")]
    Problems(#[from] Problems),
    /// A result that cannot be written.
    #[error("{0}")]
    Write(#[from] WriteError),
    /// A scene that cannot be simulated.
    #[error("{scene}: {source}")]
    Scene {
        /// As given.
        scene: String,
        /// Why not.
        source: SimulateError,
    },
    /// A scene that is neither a file nor a known kind.
    #[error("there is no scene {name:?}: give a file that ends in .toml, or one of {}", known.join(", "))]
    UnknownScene {
        /// As given.
        name: String,
        /// Names of the built-in kinds.
        known: Vec<&'static str>,
    },
    /// Fields of a scene that cannot be changed as asked.
    #[error("{}", lines(.0))]
    Overrides(Vec<OverrideError>),
    /// A study that came to no end.
    #[error("{0}")]
    Study(#[from] StudyError),
    /// A scene that cannot be put into words; ours to mend.
    #[error("cannot write the scene as TOML: {0}")]
    Toml(#[from] toml::ser::Error),
    /// A code that no problem has.
    #[error("there is no code {0:?}; `corymb explain` lists all")]
    UnknownCode(String),
    /// Old pictures that cannot be cleared away.
    #[error("{}: cannot be removed: {source}", path.display())]
    Stale {
        /// Which.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// Threads that the system refuses.
    #[error("cannot start the threads to work with: {0}")]
    Threads(#[from] rayon::ThreadPoolBuildError),
    /// Signals that the system refuses.
    #[error("cannot listen for interrupts: {0}")]
    Signals(#[from] ctrlc::Error),
    /// stdout that cannot be written.
    #[error("cannot write to stdout: {0}")]
    Stdout(std::io::Error),
    /// Figures that cannot be put into words; ours to mend.
    #[error("cannot write figures as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// Tables that cannot be put into words; ours to mend.
    #[error("cannot write a table: {0}")]
    Csv(#[from] csv::Error),
    /// Scores that do not go together.
    #[error("{0}")]
    Compare(#[from] corymb_score::compare::CompareError),
    /// The reader of our stdout has enough.
    #[error("the reader of stdout has gone")]
    PipeClosed,
}

fn lines(errors: &[OverrideError]) -> String {
    let lines: Vec<String> = errors.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

impl Failure {
    /// The exit that this asks for.
    pub(crate) fn exit(&self) -> Exit {
        match self {
            Failure::PipeClosed => Exit::Done,
            Failure::Write(WriteError::Disk { .. }) => Exit::Wrong,
            // what a result refers to and whether its numbers are finite is our business, not the user's
            Failure::Write(_) | Failure::Json(_) | Failure::Csv(_) | Failure::Toml(_) => Exit::Bug,
            _ => Exit::Wrong,
        }
    }
}

/// Makes every panic say what it is: a bug of the program, not of the input.
pub(crate) fn announce_bugs() {
    std::panic::set_hook(Box::new(|panic| {
        crate::talk::note(&format!(
            "this is a bug in corymb, not in your files: {panic}\nPlease report it with the command line and, where \
             you can, the run folder."
        ));
    }));
}

/// What `work` ends with; a panic inside is a bug.
pub(crate) fn or_bug(work: impl FnOnce() -> Exit) -> Exit {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or(Exit::Bug)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exit_codes_are_those_of_the_contract() {
        let codes = [Exit::Done, Exit::No, Exit::Wrong, Exit::Loss, Exit::Bug].map(Exit::code);
        assert_eq!(codes, [0, 1, 2, 3, 70]);
    }

    #[test]
    fn a_panic_ends_as_a_bug_also_from_a_worker_thread() {
        assert_eq!(or_bug(|| panic!("on purpose, by a test")), Exit::Bug);
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(2)
            .build()
            .unwrap();
        let in_worker =
            || pool.install(|| rayon::join(|| panic!("on purpose, by a test"), || Exit::Done).1);
        assert_eq!(or_bug(in_worker), Exit::Bug);
        assert_eq!(or_bug(|| Exit::Loss), Exit::Loss);
    }
}
