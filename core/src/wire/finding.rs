//! In: what is wrong with the signals of an axis. Out: the payload that says so.

use serde::{Deserialize, Serialize};

/// What is wrong.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Which {
    /// The command moves, feedback stands still.
    #[default]
    FeedbackMissing,
    /// Feedback moves, the command stands still.
    CommandDead,
    /// The command comes after the feedback.
    Swapped,
    /// Feedback goes the other way than set.
    WrongSign,
    /// Finished moves don't fit the command scale.
    WrongRatio,
    /// The command changes nearly too fast for its counter or input.
    CommandNearLimit,
    /// Feedback changes nearly too fast for its counter or input.
    FeedbackNearLimit,
    /// Transitions that no quadrature signal makes.
    IllegalTransitions,
}

/// What a finding means for the numbers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Severity {
    /// The numbers hold; something is near its limit.
    #[default]
    Warning,
    /// The numbers can't be right before this is put right.
    Fault,
}

/// Something is wrong with the signals of an axis; each is told once, until other settings are in force.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// Axis, from 0.
    pub axis: u8,
    /// What it is.
    pub which: Which,
    /// How grave it is.
    pub severity: Severity,
    /// Changed by so much in one sample, or so many transitions; 0 where there is no figure. Unit: counts, or a number
    pub figure: u32,
    /// The command scale that the moves fit, if they agree. Unit: feedback counts per command count, upper and lower part
    pub proposed: Option<(i32, i32)>,
    /// Instant, since the first reading. Unit: ticks
    pub at: u64,
}
