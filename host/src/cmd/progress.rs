//! In: progress of a command. Out: a bar on the terminal, for work that takes a while.

use std::io::{IsTerminal, stderr};

use indicatif::{ProgressBar, ProgressStyle};

/// Smallest file with a bar: a smaller one is read in an instant. Unit: bytes
const SMALLEST: u64 = 20 << 20;

/// A bar for reading a file; hidden unless stderr is a terminal.
pub(super) fn bar(name: &str, bytes: Option<u64>) -> ProgressBar {
    let Some(bytes) = bytes.filter(|bytes| *bytes >= SMALLEST && stderr().is_terminal()) else {
        return ProgressBar::hidden();
    };
    let bar = ProgressBar::new(bytes).with_message(name.to_owned());
    let template = "{msg} [{wide_bar}] {bytes}/{total_bytes}, {eta} remaining";
    // The template is constant; if it had an error, the default bar would do.
    bar.set_style(ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar
}

/// A bar for a shift of this length; hidden unless stderr is a terminal. Unit: s
pub(super) fn shift(seconds: f64) -> ProgressBar {
    if !stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(seconds as u64);
    let template = "rehearsing [{wide_bar}] {pos} of {len} s, {eta} remaining";
    bar.set_style(ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar
}
