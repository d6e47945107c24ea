//! In: a recording and options. Out: the report of every move, one by one, and what to be careful about.
//!
//! ```text
//! trace ► rows ► signals: turn (core), quiet ► meter (the core's axis) ► record ► signals, likeness ► report
//!                                                ├► raw_stop: feedback of the stop ► two modes
//!                                                └► stop_recorder: samples of the move, thinned; motion_recorder beside
//! ```
//! Only the move under way is in memory, so a recording may have any length.

mod slow_command;
mod options;
mod arrival;
mod quiet;
mod turn_jumps;
mod signals;
mod likeness;
mod envelope;
mod motion_recorder;
mod stop_recorder;
mod efforts;
mod raw_stop;
mod jobs;
mod meter;
mod moves_with_effort;

pub use meter::{Measured, Meter};
pub use motion_recorder::Pictures;
pub use moves_with_effort::MovesWithEffort;
pub use options::{MeasureOptions, Wrap};

use crate::error::Error;
use crate::trace::{Row, Trace};

/// What a whole recording was like, apart from its moves.
#[derive(Debug, Default)]
pub struct Summary {
    /// What a person should know, one sentence each.
    pub notes: Vec<String>,
    /// Why reading stopped before the end, or why the rows that were read are too few to be trusted; the moves up to there
    /// are reported.
    pub stopped: Option<Error>,
    /// Rows with a reading.
    pub readings: u64,
    /// Places where rows are missing or can't be read.
    pub faults: u64,
}

/// Measures one recording. Every move goes to `on_move` as soon as its rest is over, and the bytes read so
/// far to `on_bytes` now and then.
///
/// `pictures` records the samples of each move, at most a few thousand, and its settling curve as fine as the samples; a
/// `bool` does so without speed and effort.
pub fn measure(
    trace: &mut Trace,
    names: (&str, &str),
    options: &MeasureOptions,
    pictures: impl Into<Pictures>,
    mut on_move: impl FnMut(Measured) -> Result<(), Error>,
    mut on_bytes: impl FnMut(u64),
) -> Result<Summary, Error> {
    let mut meter = Meter::new(trace.layout(), names, options, pictures)?;
    let (mut rows, mut readings) = (Vec::<Row>::new(), 0);
    let stopped = loop {
        let more = trace.next_block(&mut rows);
        readings += rows.iter().filter(|row| matches!(row, Row::Reading { .. })).count() as u64;
        meter.push(&rows, &mut on_move)?;
        on_bytes(trace.bytes_read());
        match more {
            Ok(true) => {}
            Ok(false) => break None,
            Err(error) => break Some(error),
        }
    };
    meter.finish(&mut on_move)?;
    let mut notes = trace.layout().notes.clone();
    notes.extend(meter.notes());
    let faults = trace.faults().to_string();
    notes.extend(faults.lines().map(str::to_owned));
    Ok(Summary { notes, stopped, readings, faults: trace.faults().count })
}
