//! The `permeated` command: arguments in, exit status out; everything else is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    permeated::cli::main()
}
