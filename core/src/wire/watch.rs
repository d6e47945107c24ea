//! In: what the watch over a kind of moves found. Out: the payloads that say so.
//!
//! The stages that fill these (kind, baseline, drift, alarm) are yet to come; the payloads hold what
//! those are certain to tell, and grow by appended fields.

use serde::{Deserialize, Serialize};

/// What a kind's settling looked like when it was declared good.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Baseline {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis.
    pub kind: u16,
    /// Instant of the declaration, since the first reading. Unit: ticks
    pub at: u64,
    /// Moves that it rests on.
    pub moves: u32,
    /// Median settling time. Unit: ticks
    pub settling_median: u32,
    /// Settling time that 95 % of the moves kept. Unit: ticks
    pub settling_p95: u32,
}

/// A statistically sound change against the baseline.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drift {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis.
    pub kind: u16,
    /// The move that decided it.
    pub number: u32,
    /// Estimated change of the settling time. Unit: ticks
    pub change: i32,
    /// The detector's figure. Unit: 1/256 of its limit
    pub score: u32,
}

/// What an alarm is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Subject {
    /// Settling drifts.
    #[default]
    Drift,
    /// A move did not settle.
    Unsettled,
    /// The following error lasts.
    FollowingError,
    /// A tap is dead, swapped or wrongly scaled.
    Signal,
    /// Samples or frames are missing.
    Gap,
}

/// State of an alarm, by name: IEC 62682 / ANSI/ISA-18.2; the latched ones by the 2009 edition.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum AlarmState {
    /// Not active, acknowledged.
    #[default]
    Normal,
    /// Active, not acknowledged.
    Unacknowledged,
    /// Active, acknowledged.
    Acknowledged,
    /// No longer active, not acknowledged.
    ReturnedToNormalUnacknowledged,
    /// Held by its latch, not acknowledged.
    LatchedUnacknowledged,
    /// Held by its latch, acknowledged.
    LatchedAcknowledged,
    /// Set aside by a person, for a time.
    Shelved,
    /// Set aside by logic.
    SuppressedByDesign,
    /// Set aside for maintenance.
    OutOfService,
}

/// A step in the life of an alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alarm {
    /// Number of the alarm since the start, the same through its life.
    pub alarm: u32,
    /// Axis, from 0.
    pub axis: u8,
    /// What it is about.
    pub subject: Subject,
    /// State from here on.
    pub state: AlarmState,
    /// Instant of the step, since the first reading. Unit: ticks
    pub at: u64,
    /// The move behind it, 0 if none.
    pub number: u32,
    /// The figure. Unit: that of the subject: ticks, counts or a number
    pub value: i64,
    /// The limit it passed. Unit: the same
    pub limit: i64,
}
