//! In: a kind, a finding or an alarm, as a monitor sends it. Out: its one wording, in plain words.

use stillpoint_core::wire::alarm::{Alarm, AlarmPriority, AlarmState, Subject};
use stillpoint_core::wire::drift::Kind;
use stillpoint_core::wire::finding::Finding;
use stillpoint_firmware::health::{self, Severity};

use super::number::plain_to;

/// Direction, distance and peak speed of a kind. Unit: that of the axis, and that per second
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Typical {
    /// Towards larger counts.
    pub forward: bool,
    /// Unit: that of the axis
    pub distance: f64,
    /// Unit: that of the axis per second
    pub speed: f64,
}

impl Typical {
    /// Of a kind as a monitor sends it. Unit: counts/unit, ticks/s
    pub fn of(kind: &Kind, counts_per_unit: f64, ticks_per_second: f64) -> Typical {
        let seconds = f64::from(kind.speed_time) / ticks_per_second;
        let distance = |counts: u32| f64::from(counts) / counts_per_unit;
        let speed = if seconds > 0.0 { distance(kind.speed_distance) / seconds } else { 0.0 };
        Typical { forward: kind.forward, distance: distance(kind.distance), speed }
    }
}

/// A kind by number: `+60 mm at 600 mm/s (kind 1)`; `kind 1` where its typical move is not known; `none` for number 0.
/// The minus is the ASCII one, so that it can be typed, searched and read by other tools.
pub fn kind(number: u32, typical: Option<Typical>, unit: &str) -> String {
    match (number, typical) {
        (0, _) => "none".to_owned(),
        (number, None) => format!("kind {number}"),
        (number, Some(Typical { forward, distance, speed })) => {
            let sign = if forward { '+' } else { '-' };
            let (distance, speed) = (plain_to(distance, 3), plain_to(speed, 2));
            format!("{sign}{distance} {unit} at {speed} {unit}/s (kind {number})")
        }
    }
}

/// What is wrong with the signals of the axis of this name, how grave it is, and what to do.
pub fn finding(axis: &str, sent: &Finding) -> String {
    let finding = health::Finding::from(sent);
    let severity = match finding.severity() {
        Severity::Warning => "warning",
        Severity::Fault => "fault, its numbers can't be right",
    };
    format!("{axis}: {severity}: {finding}")
}

/// Number, subject and state of an alarm.
pub fn alarm(axis: &str, alarm: &Alarm) -> String {
    let subject = match alarm.subject {
        Subject::Drift => "settling drifts",
        Subject::Unsettled => "stops don't settle",
        Subject::FollowingError => "the following error lasts",
        Subject::Signal => "the signals are wrong",
        Subject::Gap => "samples or frames are missing",
        Subject::SettlingLimit => "too many moves settle later than their limit",
        Subject::UnsettledLimit => "too many moves don't settle",
    };
    let state = state(alarm.state);
    format!("{axis}: alarm {}, {subject}: {state}", alarm.alarm)
}

/// State of an alarm by the names of IEC 62682 / ANSI/ISA-18.2.
pub fn state(state: AlarmState) -> &'static str {
    match state {
        AlarmState::Normal => "normal",
        AlarmState::Unacknowledged => "unacknowledged",
        AlarmState::Acknowledged => "acknowledged",
        AlarmState::ReturnedToNormalUnacknowledged => "returned to normal unacknowledged",
        AlarmState::LatchedUnacknowledged => "latched unacknowledged",
        AlarmState::LatchedAcknowledged => "latched acknowledged",
        AlarmState::Shelved => "shelved",
        AlarmState::SuppressedByDesign => "suppressed by design",
        AlarmState::OutOfService => "out of service",
    }
}

/// How soon a person must answer, by the names of IEC 62682 / ANSI/ISA-18.2.
pub fn priority(priority: AlarmPriority) -> &'static str {
    match priority {
        AlarmPriority::Low => "low",
        AlarmPriority::Medium => "medium",
        AlarmPriority::High => "high",
        AlarmPriority::Highest => "highest",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_has_one_wording() {
        let typical = |forward, distance, speed| Some(Typical { forward, distance, speed });
        assert_eq!(kind(1, typical(true, 60.02, 599.7), "mm"), "+60 mm at 600 mm/s (kind 1)");
        assert_eq!(kind(12, typical(false, 0.5, 1234.0), "mm"), "-0.5 mm at 1234 mm/s (kind 12)");
        assert_eq!([kind(3, None, "mm"), kind(0, typical(true, 1.0, 1.0), "mm")], ["kind 3", "none"]);
    }
}
