//! The program `corymb` as a library, so that tests can start it as they like.
//!
//! A thin shell: each command reads files, calls a library and writes files. This is the one place with a clock, a
//! thread count and signals. stdout carries data and summaries, stderr carries talk.

mod args;
mod check;
mod compare;
mod exit;
mod explain;
mod figures;
mod inputs;
mod interrupt;
mod progress;
mod publish;
mod run;
mod scenes;
mod score;
mod scores_file;
mod simulate;
mod summary;
mod sweep;
mod talk;
mod trials;

pub use args::EXAMPLES;

use args::{Cli, Command};
use clap::Parser;
use exit::{Exit, Failure, or_bug};
use std::process::ExitCode;

/// Does what the command line of this process asks for.
#[must_use]
pub fn main() -> ExitCode {
    exit::announce_bugs();
    or_bug(enter).into()
}

fn enter() -> Exit {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(told) => {
            let _ = told.print(); // help into a closed pipe is no reason to complain
            return if told.use_stderr() {
                Exit::Wrong
            } else {
                Exit::Done
            };
        }
    };
    let done = interrupt::listen().and_then(|()| match &cli.command {
        Command::Run(args) => run::run(args),
        Command::Check(args) => check::check(args),
        Command::Simulate(args) => simulate::simulate(args),
        Command::Sweep(args) => sweep::sweep(args),
        Command::Score(args) => score::score(args),
        Command::Compare(args) => compare::compare(args),
        Command::Trials(args) => trials::trials(args),
        Command::Explain(args) => explain::explain(args),
    });
    match done {
        Ok(exit) => exit,
        Err(Failure::PipeClosed) => Exit::Done,
        Err(failure) => {
            talk::complain(&failure);
            failure.exit()
        }
    }
}
