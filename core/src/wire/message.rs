//! In: the payloads of the device. Out: one type for all messages, with the kind number and priority of each.

use serde::{Deserialize, Serialize};

use super::alarm::{Alarm, Arranged};
use super::curve::Curve;
use super::drift::{Baseline, Drift, Explained, Kind, Restart};
use super::finding::Finding;
use super::frame::Payload;
use super::header::{Direction, Priority};
use super::job::Job;
use super::record::Move;
use super::ringing::Ringing;
use super::settings::Settings;
use super::status::{Gap, Hello, Status};
use super::trace::Trace;

/// Every message of a device; a variant's position is its kind number. New kinds go to the end.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Message<'a> {
    /// Identity of the device.
    #[serde(borrow)]
    Hello(Hello<'a>),
    /// Settings of an axis.
    Settings(Settings),
    /// A move and its rest are over.
    Move(Move),
    /// A part of the settling curve of a move.
    Curve(Curve<'a>),
    /// Median and p95 of a kind while it was good.
    Baseline(Baseline),
    /// Begin or end of a drift.
    Drift(Drift),
    /// A state change of an alarm.
    Alarm(Alarm),
    /// Samples or frames are missing.
    Gap(Gap),
    /// State and counters of an axis and of the device.
    Status(Status),
    /// A part of the raw samples around a stop.
    Trace(Trace<'a>),
    /// A fault in the signals of an axis.
    Finding(Finding),
    /// A new kind of moves.
    Kind(Kind),
    /// Drift detection begins anew.
    Restart(Restart),
    /// Settings of an alarm.
    Arranged(Arranged),
    /// The product that an axis works on. Since version 2.
    Job(Job),
    /// How much a cause moves the settling time of an axis. Since version 2.
    Explained(Explained),
    /// The ringing of a stop. Since version 2.
    Ringing(Ringing),
}

impl<'a> Payload<'a> for Message<'a> {
    const DIRECTION: Direction = Direction::FromDevice;
    const KINDS: u8 = 17;

    fn priority(&self) -> Priority {
        match self {
            Message::Hello(_) | Message::Alarm(_) => Priority::Alarm,
            Message::Settings(_) | Message::Move(_) | Message::Gap(_) => Priority::Move,
            Message::Baseline(_) | Message::Drift(_) | Message::Finding(_) => Priority::Move,
            Message::Kind(_) | Message::Restart(_) | Message::Arranged(_) => Priority::Move,
            Message::Job(_) | Message::Explained(_) => Priority::Move,
            Message::Curve(_) | Message::Status(_) | Message::Ringing(_) => Priority::Curve,
            Message::Trace(_) => Priority::Trace,
        }
    }
}
