//! In: a finding or a step of an alarm, as a monitor tells it. Out: one line in plain words.

use stillpoint_core::wire::alarm::{Alarm, AlarmPriority, AlarmState, Subject};
use stillpoint_core::wire::finding::Finding;
use stillpoint_firmware::health::{self, Severity};

/// What is wrong with the signals of the axis of this name, how grave it is, and what to do.
pub fn finding(axis: &str, told: &Finding) -> String {
    let finding = health::Finding::from(told);
    let severity = match finding.severity() {
        Severity::Warning => "warning",
        Severity::Fault => "fault, its numbers can't be right",
    };
    format!("{axis}: {severity}: {finding}")
}

/// Number, subject and state of an alarm.
pub fn alarm(axis: &str, told: &Alarm) -> String {
    let subject = match told.subject {
        Subject::Drift => "settling drifts",
        Subject::Unsettled => "stops don't settle",
        Subject::FollowingError => "the following error lasts",
        Subject::Signal => "the signals are wrong",
        Subject::Gap => "samples or frames are missing",
    };
    let state = state(told.state);
    format!("{axis}: alarm {}, {subject}: {state}", told.alarm)
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
