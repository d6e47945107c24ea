//! In: arguments. Out: the output of the program.

use std::process::{Command, Output};

/// Runs the program to its end.
pub(crate) fn stillpoint(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_stillpoint")).args(arguments).output().expect("it runs")
}

/// Its stdout; panics if it failed.
#[track_caller]
pub(crate) fn done(arguments: &[&str]) -> String {
    let output = stillpoint(arguments);
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}
