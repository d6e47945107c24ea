//! In: why a check can't be made on this machine. Out: a line that `tests/run` counts.

use std::io::Write;

/// The line of a skipped check, as `tests/count` looks for it.
pub fn line(reason: &str) -> String {
    format!("\nSKIPPED: {reason}\n")
}

/// Says that a check is skipped. The line passes the test runner's capture and begins on a line of its own.
pub fn skipped(reason: &str) {
    let _ = std::io::stderr().write_all(line(reason).as_bytes());
}
