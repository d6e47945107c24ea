//! In: what the device is, how it fares, what it missed. Out: the payloads that say so.

use serde::{Deserialize, Serialize};

use super::header::Priority;
use crate::settling::window;

/// Why the device started.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Reset {
    /// Not known.
    #[default]
    Unknown,
    /// Power was switched on.
    PowerOn,
    /// The supply dropped for a moment.
    BrownOut,
    /// The reset line.
    Pin,
    /// The program hung.
    Watchdog,
    /// The program found a fault and started over.
    Fault,
    /// It was asked for.
    Software,
}

/// Who speaks; sent at every start and as the answer to `Identify`. The boot number is in the header.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello<'a> {
    /// The device's own number, never that of another.
    pub device: [u8; 12],
    /// What it runs on, at most 32 bytes; `rehearsal` for the virtual one.
    pub board: &'a str,
    /// Version of the firmware, at most 32 bytes.
    pub firmware: &'a str,
    /// Oldest version of the wire that it reads; the header tells the newest.
    pub oldest: u8,
    /// Axes that it watches, numbered from 0.
    pub axes: u8,
    /// How fast its time stamps count. Unit: ticks/s
    pub ticks_per_second: u32,
    /// Why it started.
    pub reset: Reset,
    /// Coordinated universal time at tick 0 of this start, if set since 1970-01-01. Unit: µs
    pub clock: Option<i64>,
}

/// Where feedback stands in the position window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Position {
    /// |error| is above the window.
    #[default]
    Outside,
    /// |error| is at most the window.
    Inside,
    /// Inside for the window time, the command standing still.
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

/// How one axis and the device fare now. Counters count since the start.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Axis, from 0; the device's own counters are the same in the status of every axis.
    pub axis: u8,
    /// Time since the first reading. Unit: ticks
    pub now: u64,
    /// The command has changed at the last sample.
    pub moving: bool,
    /// Where feedback stands.
    pub position: Position,
    /// Following error beyond its window for longer than its time-out.
    pub following_error: bool,
    /// command − feedback. Unit: feedback counts
    pub error: i32,
    /// Moves told.
    pub moves: u32,
    /// Command excursions within the window, that are no moves.
    pub small: u32,
    /// Samples taken.
    pub samples: u64,
    /// Stretches of samples that are missing.
    pub gaps: u32,
    /// Events of the axis that were not taken in time.
    pub lost_events: u32,
    /// Device: samples that came while the one before was still at work.
    pub overruns: u32,
    /// Device: numbered frames that could be neither sent nor logged, by priority.
    pub lost_frames: [u32; 4],
    /// Device: frames that wait to be sent.
    pub queue_depth: u16,
    /// Device: most that ever waited.
    pub queue_most: u16,
    /// Device: frames of the log still to be sent again; 0 when a dump is complete.
    pub replay_left: u32,
    /// Device: sequence number of the last command read, done or refused.
    pub last_command: Option<u32>,
    /// Device: commands that could not be read or done.
    pub refused_commands: u32,
}

/// What is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Missing {
    /// Readings of an axis, from this one on, counted since the start.
    Samples {
        /// Axis, from 0.
        axis: u8,
        /// The first that is missing.
        first: u64,
    },
    /// Numbered frames, from this one on.
    Frames {
        /// Place of the priority, 0 the highest.
        priority: u8,
        /// Sequence number of the first that is missing.
        first: u32,
    },
}

impl Missing {
    /// Frames of a priority.
    pub const fn frames(priority: Priority, first: u32) -> Missing {
        Missing::Frames { priority: priority as u8, first }
    }
}

impl Default for Missing {
    fn default() -> Missing {
        Missing::Samples { axis: 0, first: 0 }
    }
}

/// Why something is missing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Cause {
    /// Not known.
    #[default]
    Unknown,
    /// A sample came while the one before was still at work.
    Overrun,
    /// No room in a queue.
    QueueFull,
    /// Nobody took bytes from the link.
    LinkDown,
    /// The log has written over it.
    LogWrapped,
    /// The log could not be written or read there.
    LogFailed,
    /// A tap gave no reading.
    Tap,
}

/// Samples or frames that are missing; a value, never an error.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gap {
    /// Which.
    pub missing: Missing,
    /// How many.
    pub count: u32,
    /// Why.
    pub cause: Cause,
}
