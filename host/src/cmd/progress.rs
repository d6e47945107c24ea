//! In: bytes read so far. Out: a bar on the terminal, for files that take a while.

use std::io::{IsTerminal, stderr};

use indicatif::{ProgressBar, ProgressStyle};

/// Smaller files are done before a bar could be read. Unit: bytes
const WORTH_A_BAR: u64 = 20 << 20;

/// A bar for a file, on a terminal only.
pub(super) fn bar(name: &str, bytes: Option<u64>) -> ProgressBar {
    let Some(bytes) = bytes.filter(|bytes| *bytes >= WORTH_A_BAR && stderr().is_terminal()) else {
        return ProgressBar::hidden();
    };
    let bar = ProgressBar::new(bytes).with_message(name.to_owned());
    let shape = "{msg} [{wide_bar}] {bytes}/{total_bytes}, {eta} left";
    // A shape that can't be read would be a slip of ours; the plain bar does as well.
    bar.set_style(ProgressStyle::with_template(shape).unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar
}

/// A bar for a shift, on a terminal only. Unit: s
pub(super) fn shift(seconds: f64) -> ProgressBar {
    if !stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(seconds as u64);
    let shape = "rehearsing [{wide_bar}] {pos} of {len} s, {eta} left";
    bar.set_style(ProgressStyle::with_template(shape).unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar
}
