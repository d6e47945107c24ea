//! In: payloads of the device. Out: one type for all of them, whose order is their kind number.

use serde::{Deserialize, Serialize};

use super::curve::Curve;
use super::finding::Finding;
use super::frame::Payload;
use super::header::{Direction, Priority};
use super::record::Move;
use super::settings::Settings;
use super::status::{Gap, Hello, Status};
use super::trace::Trace;
use super::watch::{Alarm, Arranged, Baseline, Drift, Kind, Restart};

/// Everything a device says. New kinds go to the end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Message<'a> {
    /// Who speaks.
    #[serde(borrow)]
    Hello(Hello<'a>),
    /// What is in force on an axis.
    Settings(Settings),
    /// A move and its rest are over.
    Move(Move),
    /// A stretch of the settling curve of a move.
    Curve(Curve<'a>),
    /// What a kind looked like when it was declared good.
    Baseline(Baseline),
    /// A change against the baseline.
    Drift(Drift),
    /// A step in the life of an alarm.
    Alarm(Alarm),
    /// Samples or frames are missing.
    Gap(Gap),
    /// How an axis and the device fare.
    Status(Status),
    /// A stretch of raw samples around a stop.
    Trace(Trace<'a>),
    /// Something is wrong with the signals of an axis.
    Finding(Finding),
    /// A kind of moves was met for the first time.
    Kind(Kind),
    /// The watch over some moves begins anew.
    Restart(Restart),
    /// How an alarm behaves.
    Arranged(Arranged),
}

impl<'a> Payload<'a> for Message<'a> {
    const DIRECTION: Direction = Direction::FromDevice;
    const KINDS: u8 = 14;

    fn priority(&self) -> Priority {
        match self {
            Message::Hello(_) | Message::Alarm(_) => Priority::Alarm,
            Message::Settings(_) | Message::Move(_) | Message::Gap(_) => Priority::Move,
            Message::Baseline(_) | Message::Drift(_) | Message::Finding(_) => Priority::Move,
            Message::Kind(_) | Message::Restart(_) | Message::Arranged(_) => Priority::Move,
            Message::Curve(_) | Message::Status(_) => Priority::Curve,
            Message::Trace(_) => Priority::Trace,
        }
    }
}
