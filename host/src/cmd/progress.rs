//! In: progress of a command. Out: a bar on the terminal, for work that takes a while.

use std::fmt::Write;
use std::io::{IsTerminal, stderr};

use crate::report::printable::printable;
use indicatif::{HumanDuration, ProgressBar, ProgressState, ProgressStyle};

/// Smallest file with a bar: a smaller one is read in an instant. Unit: bytes
const SMALLEST: u64 = 20 << 20;

/// A bar for reading a file; hidden unless stderr is a terminal.
pub(super) fn bar(name: &str, bytes: Option<u64>) -> ProgressBar {
    let Some(bytes) = bytes.filter(|bytes| *bytes >= SMALLEST && stderr().is_terminal()) else {
        return ProgressBar::hidden();
    };
    let bar = ProgressBar::new(bytes).with_message(printable(name));
    bar.set_style(style("{msg} [{wide_bar}] {bytes}/{total_bytes}{remaining}"));
    bar
}

/// A bar for a shift of this length; hidden unless stderr is a terminal. Unit: s
pub(super) fn shift(seconds: f64) -> ProgressBar {
    if !stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(seconds as u64);
    bar.set_style(style("rehearsing [{wide_bar}] {pos} of {len} s{remaining}"));
    bar
}

/// The template is constant; if it had an error, the default bar would do.
fn style(template: &str) -> ProgressStyle {
    let style = ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
    style.with_key("remaining", remaining)
}

/// The time to the end; nothing before the first progress, from which it follows.
fn remaining(state: &ProgressState, out: &mut dyn Write) {
    if state.pos() > 0 {
        write!(out, ", {:#} remaining", HumanDuration(state.eta())).ok();
    }
}
