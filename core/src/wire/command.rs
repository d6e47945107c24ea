//! In: the payloads of the host. Out: one type for all commands, with the kind number of each.
//!
//! Commands are the only flow from host to device. They concern the monitor alone: nothing reaches the drive.

use serde::{Deserialize, Serialize};

use super::alarm::{Action, Arrangement};
use super::appended;
use super::frame::Payload;
use super::header::{Direction, Priority};
use super::settings::Parameters;

/// Every command of a host; a variant's position is its kind number. New kinds go to the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Command {
    /// Identify the device: answered by `Hello`, and `Settings` for each axis.
    Identify,
    /// Apply settings to an axis from the next move on: answered by `Settings`.
    Apply(Apply),
    /// Replay the log: answered by frames marked as replay, and by `Status` until none remain.
    DumpSince(DumpSince),
    /// Capture the raw samples around the next stops: answered by `Trace`.
    CaptureNext(CaptureNext),
    /// Acknowledge an alarm: answered by `Alarm`.
    Acknowledge(Acknowledge),
    /// Set the clock: answered by `Hello`.
    SetClock(SetClock),
    /// Another action of a person on an alarm: answered by `Alarm`.
    Act(Act),
    /// Declare the axis good, so that drift detection begins anew: answered by `Restart`.
    Declare(Declare),
    /// Change the settings of an alarm: answered by `Arranged`.
    Arrange(Arrangement),
    /// The product that an axis works on from its next move on: answered by `Job`. Since version 2.
    Job(Job),
}

/// Settings for one axis; the device checks them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Apply {
    /// Axis, from 0.
    pub axis: u8,
    /// Parameters to apply.
    pub parameters: Parameters,
}

/// Replays the log from one frame on, or the whole log if that frame is not in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DumpSince {
    /// Boot number of the frame.
    pub boot: u32,
    /// Priority of the frame, 0 the highest.
    pub priority: u8,
    /// Sequence number of the frame.
    pub sequence: u32,
}

/// Captures the raw samples around the next stops.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CaptureNext {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of stops; 0 ends the capturing.
    pub stops: u32,
}

/// Acknowledges an alarm: a person has seen it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acknowledge {
    /// Number of the alarm.
    pub alarm: u32,
}

/// An action of a person on an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Act {
    /// Number of the alarm.
    pub alarm: u32,
    /// The action.
    pub action: Action,
}

/// Declares an axis or a kind good: baselines are discarded and learnt anew, or extended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Declare {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis; 0 means all kinds.
    pub kind: u32,
    /// Whether the moves to come are added to the baseline, instead of beginning a new one. Since version 2.
    #[serde(deserialize_with = "appended")]
    pub add: bool,
}

/// The product that an axis works on from its next move on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Job {
    /// Axis, from 0; [`Job::ALL_AXES`] means all axes.
    pub axis: u8,
    /// Number of the product, the person's choice; 0 means none.
    pub number: u32,
}

impl Job {
    /// The job is that of every axis of the device.
    pub const ALL_AXES: u8 = u8::MAX;
}

/// The time of the host when it sends the command.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetClock {
    /// Coordinated universal time since 1970-01-01. Unit: µs
    pub now: i64,
}

impl<'a> Payload<'a> for Command {
    const DIRECTION: Direction = Direction::FromHost;
    const KINDS: u8 = 10;

    fn priority(&self) -> Priority {
        Priority::Alarm
    }
}
