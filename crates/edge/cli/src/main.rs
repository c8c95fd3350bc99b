//! The program `corymb`.

use std::process::ExitCode;

fn main() -> ExitCode {
    corymb_cli::main()
}
