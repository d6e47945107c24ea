//! In: a recording and a window. Out: its moves as the host measures them.

use std::path::Path;

use stillpoint::error::Error;
use stillpoint::measure::{Ask, Summary, measure};
use stillpoint::report::line::MoveLine;
use stillpoint::trace::choice::fraction;
use stillpoint::trace::{Choice, Trace};
use stillpoint_core::{Definition, Fraction};

/// What is asked by default, with this window in the unit of the recording.
pub fn ask(window: &str) -> Ask {
    Ask {
        window: fraction("--window", window).expect("a window"),
        window_time_ms: 10.0,
        rest_time_ms: 20.0,
        definition: Definition::LastEntry,
        command_scale: (1, 1),
        encoder_step: None,
        max_speed: None,
    }
}

/// Measures a recording whose columns are found by themselves.
pub fn moves(path: &Path, ask: &Ask) -> Vec<MoveLine> {
    told(path, ask, &Choice::default()).expect("a recording that can be measured").0
}

/// Measures a recording; the notes come with the moves.
pub fn told(path: &Path, ask: &Ask, choice: &Choice) -> Result<(Vec<MoveLine>, Summary), Error> {
    let mut lines = vec![];
    let mut trace = Trace::open(path, choice)?;
    let name = path.display().to_string();
    let on_move = |measured: stillpoint::measure::Measured| {
        lines.push(measured.line);
        Ok(())
    };
    let summary = measure(&mut trace, (&name, "axis"), ask, false, on_move, |_| ())?;
    Ok((lines, summary))
}

/// A whole number as a scale.
pub fn counts(counts: u64) -> Fraction {
    Fraction::new(counts, 1).expect("above zero")
}
