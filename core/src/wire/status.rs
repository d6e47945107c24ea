//! In: identity, state, counters and gaps of the device and its axes. Out: the payloads `Hello`, `Status` and `Gap`.

use serde::{Deserialize, Serialize};

use super::header::Priority;
use crate::settling::window;

/// Cause of the last start of the device.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Reset {
    /// Not known.
    #[default]
    Unknown,
    /// Power was switched on.
    PowerOn,
    /// The supply dropped for a moment.
    BrownOut,
    /// Reset pin.
    Pin,
    /// Watchdog: the program hung.
    Watchdog,
    /// The program found a fault and restarted.
    Fault,
    /// Reset by software on request.
    Software,
}

/// Identity of the device; sent at every start and as the answer to `Identify`. The boot number is in the header.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello<'a> {
    /// Unique number of the device.
    pub device: [u8; 12],
    /// Name of the board, at most 32 bytes; `rehearsal` for the virtual device.
    pub board: &'a str,
    /// Firmware version, at most 32 bytes.
    pub firmware: &'a str,
    /// Oldest wire version that the device reads; the newest is the version in the header.
    pub oldest: u8,
    /// Number of axes.
    pub axes: u8,
    /// Rate of the time stamps. Unit: ticks/s
    pub ticks_per_second: u32,
    /// Cause of the start.
    pub reset: Reset,
    /// Coordinated universal time at tick 0 of this start, since 1970-01-01, if the clock was set. Unit: µs
    pub clock: Option<i64>,
}

/// Position of feedback relative to the position window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Position {
    /// |error| is above the window.
    #[default]
    Outside,
    /// |error| is at most the window.
    Inside,
    /// Inside for the window time at an unchanged command.
    TargetReached,
}

impl From<window::Position> for Position {
    fn from(position: window::Position) -> Position {
        match position {
            window::Position::Outside => Position::Outside,
            window::Position::Inside => Position::Inside,
            window::Position::TargetReached => Position::TargetReached,
        }
    }
}

/// State and counters of one axis and of the device. Counters count since the start.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Axis, from 0; fields of the device are the same in the status of every axis.
    pub axis: u8,
    /// Time since the first reading. Unit: ticks
    pub now: u64,
    /// The command has changed at the last sample.
    pub moving: bool,
    /// Position of feedback relative to the window.
    pub position: Position,
    /// Following error beyond its window for longer than its time-out.
    pub following_error: bool,
    /// command − feedback. Unit: feedback counts
    pub error: i32,
    /// Moves reported.
    pub moves: u32,
    /// Small excursions of the command, which stayed within the window and are no moves.
    pub small: u32,
    /// Samples measured.
    pub samples: u64,
    /// Gaps: runs of missing samples.
    pub gaps: u32,
    /// Events of the axis that were dropped because its queue was full.
    pub lost_events: u32,
    /// Device: samples that came while the one before was still being processed.
    pub overruns: u32,
    /// Device: frames that were neither sent nor logged, by priority.
    pub lost_frames: [u32; 4],
    /// Device: frames waiting to be sent.
    pub queue_depth: u16,
    /// Device: largest `queue_depth` so far.
    pub queue_most: u16,
    /// Device: frames of the log still to be replayed; 0 when a replay is complete.
    pub replay_left: u32,
    /// Device: sequence number of the last command that was read, whether done or refused.
    pub last_command: Option<u32>,
    /// Device: commands that could not be read, or were refused.
    pub refused_commands: u32,
}

/// First missing sample or frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Missing {
    /// Samples of an axis.
    Samples {
        /// Axis, from 0.
        axis: u8,
        /// Number of the first missing sample since the start.
        first: u64,
    },
    /// Frames of a priority.
    Frames {
        /// Priority, 0 the highest.
        priority: u8,
        /// Sequence number of the first missing frame.
        first: u32,
    },
}

impl Missing {
    /// Frames of a priority, from this sequence number on.
    pub const fn frames(priority: Priority, first: u32) -> Missing {
        Missing::Frames { priority: priority as u8, first }
    }
}

impl Default for Missing {
    fn default() -> Missing {
        Missing::Samples { axis: 0, first: 0 }
    }
}

/// Cause of a gap.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Cause {
    /// Not known.
    #[default]
    Unknown,
    /// A sample came while the one before was still being processed.
    Overrun,
    /// A queue was full.
    QueueFull,
    /// The link accepted no bytes.
    LinkDown,
    /// The log was full and overwrote its oldest frames.
    LogWrapped,
    /// The log could not be written or read.
    LogFailed,
    /// A tap gave no reading.
    Tap,
}

/// A gap: missing samples or frames. A value, never an error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gap {
    /// First missing sample or frame.
    pub missing: Missing,
    /// Number of missing samples or frames.
    pub count: u32,
    /// Cause of the gap.
    pub cause: Cause,
}
