//! In: a fault found in the signals of an axis. Out: the payload that reports it.

use serde::{Deserialize, Serialize};

/// The fault that was found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Which {
    /// The command changes, feedback does not.
    #[default]
    FeedbackMissing,
    /// Feedback changes, the command does not.
    CommandDead,
    /// Command and feedback are swapped: the command follows the feedback.
    Swapped,
    /// Feedback moves in the opposite direction to the command.
    WrongSign,
    /// Travel of command and feedback don't fit the command scale.
    WrongRatio,
    /// The command changes nearly too fast for its counter or input.
    CommandNearLimit,
    /// Feedback changes nearly too fast for its counter or input.
    FeedbackNearLimit,
    /// Transitions that are impossible in a quadrature signal.
    IllegalTransitions,
}

/// Effect of a fault on the measured numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Severity {
    /// The numbers are valid; a signal is near its limit.
    #[default]
    Warning,
    /// The numbers are wrong until the fault is removed.
    Fault,
}

/// A fault in the signals of an axis; each is sent once, until other settings are in force.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// Axis, from 0.
    pub axis: u8,
    /// The fault.
    pub which: Which,
    /// Effect on the measured numbers.
    pub severity: Severity,
    /// Change of the signal in one sample, or number of illegal transitions; 0 for other faults. Unit: counts, or a
    /// number
    pub figure: u32,
    /// Command scale that fits the moves, if they agree: numerator and denominator. Unit: feedback counts per command
    /// count
    pub proposed: Option<(i32, i32)>,
    /// Instant, since the first reading. Unit: ticks
    pub at: u64,
}
