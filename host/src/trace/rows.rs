//! In: what the lines hold. Out: readings, gaps and clock marks, and a tally of what was wrong.

use crate::trace::layout::{Layout, Signal};
use core::fmt;
use stillpoint_core::Reading;

/// What comes out of a recording, in its order.
#[derive(Clone, Debug, PartialEq)]
pub enum Row {
    /// A good row.
    Reading {
        /// Line in the file.
        line: u64,
        /// What it says.
        reading: Reading,
    },
    /// Something is missing here; the next reading does not follow on the last.
    Gap {
        /// Line in the file that shows it.
        line: u64,
        /// What is wrong.
        fault: Fault,
    },
    /// From the next reading on, `tick` stands for `second` on the recording's own clock.
    Clock {
        /// Line in the file.
        line: u64,
        /// Time stamp of the next reading. Unit: ticks
        tick: u32,
        /// The same on the recording's own clock. Unit: s
        second: f64,
    },
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// The cell holds no figure.
    Figure {
        /// Which column.
        signal: Signal,
        /// What the cell holds.
        text: Box<str>,
    },
    /// The row ends before the column.
    Missing {
        /// Which column.
        signal: Signal,
    },
    /// The figure does not fit the 32 bits of a count, or the 64 of a time.
    TooLarge {
        /// Which column.
        signal: Signal,
        /// What the cell holds.
        text: Box<str>,
    },
    /// The column must hold whole counts.
    NotWhole {
        /// Which column.
        signal: Signal,
        /// What the cell holds.
        text: Box<str>,
    },
    /// The time stamp is not after the one before, or far ahead of the ones around it.
    Stamp {
        /// Time stamp of the row. Unit: s
        second: f64,
        /// The one before. Unit: s
        after: f64,
    },
    /// The clock starts again, as where two files were joined.
    Restart {
        /// Where it starts. Unit: s
        second: f64,
        /// Where it was. Unit: s
        after: f64,
    },
    /// Rows are missing before this one.
    Hole {
        /// For how long. Unit: s
        seconds: f64,
    },
    /// The line is longer than any row can be.
    TooLong,
}

impl Fault {
    /// The column, if one is to blame.
    pub fn signal(&self) -> Option<Signal> {
        match self {
            Fault::Figure { signal, .. } | Fault::Missing { signal } => Some(*signal),
            Fault::TooLarge { signal, .. } | Fault::NotWhole { signal, .. } => Some(*signal),
            Fault::Stamp { .. } | Fault::Restart { .. } | Fault::Hole { .. } => Some(Signal::Time),
            Fault::TooLong => None,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::Figure { signal, text } => write!(out, "{signal} holds '{text}', which is no figure"),
            Fault::Missing { signal } => write!(out, "the row ends before {signal}"),
            Fault::TooLarge { signal: Signal::Time, text } => write!(out, "time {text} is beyond 2^62 ticks"),
            Fault::TooLarge { signal, text } => write!(out, "{signal} {text} is beyond 2^31 counts"),
            Fault::NotWhole { signal, text } => write!(out, "{signal} {text} is no whole number of counts"),
            Fault::Stamp { second, after } => write!(out, "time {second} s does not follow on {after} s"),
            Fault::Restart { second, after } => {
                write!(out, "time starts again at {second} s after {after} s")
            }
            Fault::Hole { seconds } => write!(out, "no rows for {seconds:.6} s before this one"),
            Fault::TooLong => write!(out, "the line is longer than 1 MiB"),
        }
    }
}

/// How many faults are kept word for word.
const KEPT: usize = 5;

/// A tally of what was wrong in a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Faults {
    /// How many there were.
    pub count: u64,
    /// The first few with their lines, in words.
    pub first: Vec<(u64, String)>,
}

impl Faults {
    /// Counts one.
    #[cold]
    pub(crate) fn add(&mut self, line: u64, fault: &Fault, layout: &Layout) {
        self.count += 1;
        if self.first.len() >= KEPT {
            return;
        }
        let (time, command, feedback) = &layout.columns;
        let column = match fault.signal() {
            Some(Signal::Time) => time.as_deref(),
            Some(Signal::Command) => Some(command.as_str()),
            Some(Signal::Feedback) => Some(feedback.as_str()),
            None => None,
        };
        let place = column.map(|name| format!(" (column '{name}')")).unwrap_or_default();
        self.first.push((line, format!("{fault}{place}")));
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (line, words) in &self.first {
            writeln!(out, "line {line}: {words}")?;
        }
        match self.count - self.first.len() as u64 {
            0 => Ok(()),
            more => writeln!(out, "and {more} more"),
        }
    }
}
