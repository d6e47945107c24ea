//! In: a recording and what is asked of it. Out: every move as a line, one by one, and what to be careful about.
//!
//! ```text
//! trace ► rows ► meter (the core's axis) ► record ► line
//!                  └► picture: samples of the move, thinned
//! ```
//! Nothing is kept longer than a move, so a recording may be as long as it likes.

mod ask;
mod clock;
mod line;
mod meter;
mod picture;

pub use ask::Ask;
pub use clock::Clock;
pub use line::Scale;
pub use meter::{Measured, Meter};

use crate::error::Error;
use crate::trace::{Row, Trace};

/// What a whole recording was like, apart from its moves.
#[derive(Debug, Default)]
pub struct Summary {
    /// What a person should know, one sentence each.
    pub notes: Vec<String>,
    /// Why reading stopped before the end, if it did; the moves up to there are told.
    pub stopped: Option<Error>,
}

/// Measures one recording. Every move goes to `on_move` as soon as its rest is over, and the bytes read so
/// far to `on_bytes` now and then.
///
/// `pictures` keeps the samples of each move, at most a few thousand.
pub fn measure(
    trace: &mut Trace,
    names: (&str, &str),
    ask: &Ask,
    pictures: bool,
    mut on_move: impl FnMut(Measured) -> Result<(), Error>,
    mut on_bytes: impl FnMut(u64),
) -> Result<Summary, Error> {
    let mut meter = Meter::new(trace.layout(), names, ask, pictures)?;
    let mut rows: Vec<Row> = Vec::new();
    let stopped = loop {
        let more = trace.next_block(&mut rows);
        meter.take(&rows, &mut on_move)?;
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
    Ok(Summary { notes, stopped })
}
