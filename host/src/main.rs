//! In: the command line. Out: the output of the command, and its exit status.
#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    stillpoint::cli::run(std::env::args_os())
}
