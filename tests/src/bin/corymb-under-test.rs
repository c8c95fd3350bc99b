//! The program `corymb`, built with the tests so that they always start the code as it is now.

use std::process::ExitCode;

fn main() -> ExitCode {
    corymb_cli::main()
}
