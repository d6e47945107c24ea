//! In: the results of the lines. Out: readings, gaps and clock marks, and a count of the faults.

use crate::trace::layout::{Layout, Signal};
use core::fmt;
use stillpoint_core::Reading;

/// One result of reading a recording, in the order of the file.
#[derive(Clone, Debug, PartialEq)]
pub enum Row {
    /// A good row.
    Reading {
        /// Line in the file.
        line: u64,
        /// The reading.
        reading: Reading,
    },
    /// Samples are missing; the next reading does not continue the last.
    Gap {
        /// Line of the fault.
        line: u64,
        /// The fault.
        fault: Fault,
    },
    /// From the next reading on, `tick` corresponds to `second` on the recording's own clock.
    Clock {
        /// Line in the file.
        line: u64,
        /// Time stamp of the next reading. Unit: ticks
        tick: u32,
        /// The same on the recording's own clock. Unit: s
        second: f64,
    },
    /// From the reading of this line on, the machine works on this product. It may come before readings of earlier lines.
    Job {
        /// Line in the file.
        line: u64,
        /// Number of the product; 0 if it is not known.
        job: u32,
    },
    /// Effort of the row of this line. It may come before readings of earlier lines.
    Effort {
        /// Line in the file.
        line: u64,
        /// Unit: that of the column
        effort: f64,
    },
}

/// Fault of a row.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// The cell holds no number.
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
    /// The number exceeds 32 bits of counts, or 62 bits of ticks.
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
    /// The time stamp is not later than the one before, or far ahead of its neighbours.
    Stamp {
        /// Time stamp of the row. Unit: s
        second: f64,
        /// The time stamp before. Unit: s
        after: f64,
    },
    /// The clock starts again, for example where two files were joined.
    Restart {
        /// Time after the restart. Unit: s
        second: f64,
        /// Time before the restart. Unit: s
        after: f64,
    },
    /// Rows are missing before this one.
    Hole {
        /// Length of the hole. Unit: s
        seconds: f64,
    },
    /// The line is longer than 1 MiB.
    TooLong,
}

impl Fault {
    /// The faulty column, if there is one.
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
            Fault::Figure { signal, text } => write!(out, "{signal} holds '{text}', which is not a number"),
            Fault::Missing { signal } => write!(out, "the row ends before {signal}"),
            Fault::TooLarge { signal: Signal::Time, text } => write!(out, "time {text} is beyond 2^62 ticks"),
            Fault::TooLarge { signal, text } => write!(out, "{signal} {text} is beyond 2^31 counts"),
            Fault::NotWhole { signal, text } => {
                write!(out, "{signal} {text} is not a whole number of counts")
            }
            Fault::Stamp { second, after } => write!(out, "time {second} s does not continue from {after} s"),
            Fault::Restart { second, after } => {
                write!(out, "time starts again at {second} s after {after} s")
            }
            Fault::Hole { seconds } => write!(out, "no rows for {seconds:.6} s before this one"),
            Fault::TooLong => write!(out, "the line is longer than 1 MiB"),
        }
    }
}

impl Fault {
    /// Whether the cell may hold a number with separators of thousands.
    pub(crate) fn is_grouped(&self) -> bool {
        let Fault::Figure { text, .. } = self else { return false };
        let is_group = |group: &str| group.len() == 3 && group.bytes().all(|byte| byte.is_ascii_digit());
        text.split_once(['.', ',', ' ', '\u{a0}']).is_some_and(|(first, rest)| {
            first.trim_start_matches('-').bytes().all(|byte| byte.is_ascii_digit())
                && rest.get(..3).is_some_and(is_group)
        })
    }
}

/// Number of faults that are described.
const DESCRIBED: usize = 5;

/// Count of the faults of a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Faults {
    /// Number of faults.
    pub count: u64,
    /// Lines and descriptions of the first few.
    pub first: Vec<(u64, String)>,
}

impl Faults {
    /// Counts a fault.
    #[cold]
    pub(crate) fn add(&mut self, line: u64, fault: &Fault, layout: &Layout) {
        self.count += 1;
        if self.first.len() >= DESCRIBED {
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
