//! In: frames of a monitor, counted. Out: how many of them were stored, known, past retention, dropped.

use crate::report::number;
use std::fmt;

/// Counts of frames by what became of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct IngestStats {
    /// Stored.
    pub stored: u64,
    /// In the store before.
    pub known: u64,
    /// Of moves past retention, which are not stored again.
    pub past: u64,
    /// Dropped because the store could not be written for too long.
    pub dropped: u64,
    /// Still waiting in memory.
    pub waiting: u64,
}

impl fmt::Display for IngestStats {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} stored, {} known already", number::count(self.stored, "frame"), self.known)?;
        if self.past > 0 {
            write!(out, ", {} past retention", self.past)?;
        }
        if self.dropped > 0 {
            write!(out, ", {} dropped", self.dropped)?;
        }
        Ok(())
    }
}
