//! In: a recording and a window. Out: its moves as the host measures them.

use std::path::Path;

use stillpoint::error::Error;
use stillpoint::measure::{MeasureOptions, Summary, Wrap, measure};
use stillpoint::report::move_report::MoveReport;
use stillpoint::trace::choice::fraction;
use stillpoint::trace::{Choice, Trace};
use stillpoint_core::{Definition, Fraction};

/// The default options for a drive that samples its own command, with this window in the unit of the recording.
pub fn options(window: &str) -> MeasureOptions {
    MeasureOptions {
        window: fraction("--window", window).expect("a window"),
        window_time_ms: 10.0,
        rest_time_ms: 20.0,
        definition: Definition::LastEntry,
        from: None,
        encoder_step: None,
        max_speed: None,
        synchronous: true,
        wrap: Wrap::Unknown,
        command_dead_band: None,
    }
}

/// Measures a recording whose columns are found by themselves.
pub fn moves(path: &Path, options: &MeasureOptions) -> Vec<MoveReport> {
    measured(path, options, &Choice::default()).expect("a recording that can be measured").0
}

/// Measures a recording; the notes come with the moves.
pub fn measured(
    path: &Path,
    options: &MeasureOptions,
    choice: &Choice,
) -> Result<(Vec<MoveReport>, Summary), Error> {
    let mut reports = vec![];
    let mut trace = Trace::open(path, choice)?;
    let name = path.display().to_string();
    let on_move = |measured: stillpoint::measure::Measured| {
        reports.push(measured.report);
        Ok(())
    };
    let summary = measure(&mut trace, (&name, "axis"), options, false, on_move, |_| ())?;
    Ok((reports, summary))
}

/// A whole number as a scale.
pub fn counts(counts: u64) -> Fraction {
    Fraction::new(counts, 1).expect("above zero")
}
