//! In: a move of a store. Out: when its command ended and how it ended, which is all that a picture of many moves needs.

use stillpoint_core::Outcome;

/// One move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Command end. Unit: µs since 1970, UTC
    pub at: i64,
    /// How it ended.
    pub outcome: Outcome,
    /// Its settling time; none unless it settled. Unit: s
    pub settling_s: Option<f64>,
}
