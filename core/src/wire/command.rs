//! In: what the host wants. Out: one type for all of it, whose order is its kind number.
//!
//! The only flow back. None of it reaches the drive: it is about the monitor alone.

use serde::{Deserialize, Serialize};

use super::frame::Payload;
use super::header::{Direction, Priority};
use super::settings::Parameters;
use super::watch::{Action, Arrangement};

/// Everything a host asks. New kinds go to the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Command {
    /// Say who you are: answered by `Hello`, and `Settings` for each axis.
    Identify,
    /// Use these settings from the next move on: answered by `Settings`.
    Apply(Apply),
    /// Send again what is in the log: frames marked as replay, and `Status` until none are left.
    DumpSince(DumpSince),
    /// Send the raw samples around the next stops: `Trace`.
    CaptureNext(CaptureNext),
    /// A person has seen an alarm: answered by `Alarm`.
    Acknowledge(Acknowledge),
    /// This is the time: answered by `Hello`.
    SetClock(SetClock),
    /// A person deals with an alarm: answered by `Alarm`.
    Act(Act),
    /// What runs now is good, watch from here on: answered by `Restart`.
    Declare(Declare),
    /// An alarm is to behave like this: answered by `Arranged`.
    Arrange(Arrangement),
}

/// Settings for one axis; checked by the device.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Apply {
    /// Axis, from 0.
    pub axis: u8,
    /// What is asked.
    pub parameters: Parameters,
}

/// Everything logged from one frame on, or the whole log if that frame is not in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DumpSince {
    /// Boot number of the frame.
    pub boot: u32,
    /// Place of its priority, 0 the highest.
    pub priority: u8,
    /// Its sequence number.
    pub sequence: u32,
}

/// Raw samples around stops to come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct CaptureNext {
    /// Axis, from 0.
    pub axis: u8,
    /// How many stops; 0 ends the capturing.
    pub stops: u32,
}

/// A person has seen an alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Acknowledge {
    /// Number of the alarm.
    pub alarm: u32,
}

/// A person deals with an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Act {
    /// Number of the alarm.
    pub alarm: u32,
    /// What is done.
    pub action: Action,
}

/// What runs now is good: baselines are forgotten and learnt anew.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Declare {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the kind on its axis, 0: all of the axis.
    pub kind: u32,
}

/// The host's time as it sends this.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetClock {
    /// Coordinated universal time since 1970-01-01. Unit: µs
    pub now: i64,
}

impl<'a> Payload<'a> for Command {
    const DIRECTION: Direction = Direction::FromHost;
    const KINDS: u8 = 9;

    fn priority(&self) -> Priority {
        Priority::Alarm
    }
}
