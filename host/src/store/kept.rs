//! In: how a monitor is logged. Out: the names its axes have, and what became of its frames.

use std::fmt;

/// Name of an axis and its scale.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Number, from 0.
    pub axis: u8,
    /// Its name.
    pub name: String,
    /// Name of its unit.
    pub unit: String,
    /// Unit: counts/unit
    pub counts_per_unit: f64,
    /// Half-width of the window as it was asked for, if that is known. Unit: its unit
    pub window: Option<f64>,
    /// Where it was heard.
    pub source: String,
}

/// What became of the frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// Stored.
    pub stored: u64,
    /// There already.
    pub known: u64,
    /// Of moves past retention, which are not stored again.
    pub past: u64,
    /// Dropped because the store could not be written for too long.
    pub dropped: u64,
    /// Still waiting.
    pub waiting: u64,
}

impl fmt::Display for Kept {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{} frames stored, {} known already", self.stored, self.known)?;
        if self.past > 0 {
            write!(out, ", {} past retention", self.past)?;
        }
        if self.dropped > 0 {
            write!(out, ", {} dropped", self.dropped)?;
        }
        Ok(())
    }
}
