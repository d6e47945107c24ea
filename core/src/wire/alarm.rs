//! In: state changes, actions and settings of alarms. Out: the payloads that carry them.

use serde::{Deserialize, Serialize};

use super::appended;
use crate::alarm;
use crate::settings::Invalid;

/// Subject of an alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Subject {
    /// Drift of the settling time.
    #[default]
    Drift,
    /// A move did not settle.
    Unsettled,
    /// The following error lasts longer than its time-out.
    FollowingError,
    /// A signal is dead, swapped or wrongly scaled.
    Signal,
    /// Samples or frames are missing.
    Gap,
    /// More moves settle later than a person's limit than may. Since version 2.
    SettlingLimit,
    /// More moves don't settle than a person's limit allows. Since version 2.
    UnsettledLimit,
}

/// State of an alarm, with the names of [`alarm::State`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum AlarmState {
    /// Normal, acknowledged.
    #[default]
    Normal,
    /// Abnormal, not acknowledged.
    Unacknowledged,
    /// Abnormal, acknowledged.
    Acknowledged,
    /// Normal again, not acknowledged.
    ReturnedToNormalUnacknowledged,
    /// Normal again, held by the latch, not acknowledged.
    LatchedUnacknowledged,
    /// Normal again, held by the latch, acknowledged, not reset.
    LatchedAcknowledged,
    /// Shelved: set aside by a person, for a time.
    Shelved,
    /// Suppressed by design: set aside by logic.
    SuppressedByDesign,
    /// Out of service: set aside for maintenance.
    OutOfService,
}

/// Event of an alarm, with the names of [`alarm::Event`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum AlarmEvent {
    /// Not sent, as in frames of a sender that sends no event, priority, category and kind.
    #[default]
    Unknown,
    /// The condition became abnormal.
    AlarmOccurs,
    /// The condition became normal.
    ReturnToNormal,
    /// The condition is still abnormal at the re-alarm time after the acknowledgement.
    ReAlarm,
    /// A person has seen the alarm.
    Acknowledge,
    /// A person resets the latch.
    Reset,
    /// A person shelves the alarm for a time.
    Shelve,
    /// A person ends the shelving before that time is over.
    Unshelve,
    /// The time of shelving is over.
    ShelvingExpired,
    /// Logic suppresses the alarm.
    SuppressByDesign,
    /// Logic ends the suppression.
    Unsuppress,
    /// The alarm is put out of service for maintenance.
    OutOfService,
    /// The alarm is returned to service.
    ReturnToService,
}

/// How soon a person must answer: the four of ANSI/ISA-18.2 and IEC 62682.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum AlarmPriority {
    /// About 80 % of all alarms.
    #[default]
    Low,
    /// About 15 %.
    Medium,
    /// About 5 %.
    High,
    /// Fewer than 1 %.
    Highest,
}

/// Category of the axis's condition: the four of NAMUR NE 107.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Category {
    /// F: the signal is invalid because of a failure.
    #[default]
    Failure,
    /// C: the signal is invalid for a time because of work on the axis.
    FunctionCheck,
    /// S: the axis runs outside its specification, or the signal is uncertain.
    OutOfSpecification,
    /// M: the signal is valid, but wear is nearly used up.
    MaintenanceRequired,
}

/// A state change of an alarm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alarm {
    /// Number of the alarm since the start; it does not change.
    pub alarm: u32,
    /// Axis, from 0.
    pub axis: u8,
    /// Subject of the alarm.
    pub subject: Subject,
    /// State after the change.
    pub state: AlarmState,
    /// Instant of the change, since the first reading. Unit: ticks
    pub at: u64,
    /// Number of the move that caused it, 0 if none.
    pub number: u32,
    /// Value that is compared with the limit. Unit: that of the subject: ticks, counts or a number
    pub value: i64,
    /// Limit. Unit: that of the value
    pub limit: i64,
    /// Event that caused the change.
    #[serde(deserialize_with = "appended")]
    pub event: AlarmEvent,
    /// How soon a person must answer.
    #[serde(deserialize_with = "appended")]
    pub priority: AlarmPriority,
    /// Category of the axis's condition.
    #[serde(deserialize_with = "appended")]
    pub category: Category,
    /// Number of the kind of moves that it concerns, 0 if none.
    #[serde(deserialize_with = "appended")]
    pub kind: u32,
}

/// Action of a person on an alarm; to acknowledge it is a command of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Action {
    /// Reset the latch.
    Reset,
    /// Shelve the alarm for a time. Unit: ticks
    Shelve(u64),
    /// End the shelving now.
    Unshelve,
    /// Put the alarm out of service for maintenance.
    OutOfService,
    /// Return the alarm to service.
    ReturnToService,
}

/// Settings of one alarm of one axis; see [`alarm::Parameters`] for each field.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Arrangement {
    /// Axis, from 0.
    pub axis: u8,
    /// Subject of the alarm.
    pub subject: Subject,
    /// Whether a latch holds the alarm until a person resets it.
    pub latching: bool,
    /// Unit: ticks
    pub on_delay: u64,
    /// Unit: ticks
    pub off_delay: u64,
    /// 0 is never. Unit: ticks
    pub re_alarm_time: u64,
    /// 0 forbids shelving. Unit: ticks
    pub longest_shelving: u64,
    /// How soon a person must answer.
    pub priority: AlarmPriority,
}

/// Field names in order, as in an [`Invalid`].
const NAMES: [&str; 8] =
    ["axis", "subject", "latching", "on_delay", "off_delay", "re_alarm_time", "longest_shelving", "priority"];

/// Settings of an alarm in force; the answer to `Arrange`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Arranged {
    /// Settings in force.
    pub arrangement: Arrangement,
    /// If the last `Arrange` was refused: position of the field that broke its rule, from 0.
    pub refused: Option<u8>,
}

impl Arranged {
    /// The answer to `Arrange`: the settings in force, and the field that was refused, if any.
    pub fn new(arrangement: Arrangement, refused: Option<Invalid>) -> Arranged {
        let position = |invalid: Invalid| NAMES.iter().position(|name| *name == invalid.parameter);
        // A field that is missing in the list is still reported as refused.
        let refused = refused.map(|invalid| position(invalid).map_or(u8::MAX, |position| position as u8));
        Arranged { arrangement, refused }
    }

    /// Name of the refused field.
    pub fn refused_name(&self) -> Option<&'static str> {
        let position = usize::from(self.refused?);
        Some(NAMES.get(position).copied().unwrap_or("a parameter of a later version"))
    }
}

/// Conversions from an enum of a stage to the enum of the wire with the same variant names.
macro_rules! from_stage {
    ($($stage:path, $sent:ident: $($name:ident)*;)*) => {
        $(
            impl From<$stage> for $sent {
                fn from(value: $stage) -> $sent {
                    match value {
                        $(<$stage>::$name => $sent::$name,)*
                    }
                }
            }
        )*
    };
}

from_stage! {
    alarm::State, AlarmState: Normal Unacknowledged Acknowledged ReturnedToNormalUnacknowledged
        LatchedUnacknowledged LatchedAcknowledged Shelved SuppressedByDesign OutOfService;
    alarm::Event, AlarmEvent: AlarmOccurs ReturnToNormal ReAlarm Acknowledge Reset Shelve Unshelve
        ShelvingExpired SuppressByDesign Unsuppress OutOfService ReturnToService;
    alarm::Priority, AlarmPriority: Low Medium High Highest;
    alarm::Category, Category: Failure FunctionCheck OutOfSpecification MaintenanceRequired;
}

impl From<AlarmPriority> for alarm::Priority {
    fn from(sent: AlarmPriority) -> alarm::Priority {
        match sent {
            AlarmPriority::Low => alarm::Priority::Low,
            AlarmPriority::Medium => alarm::Priority::Medium,
            AlarmPriority::High => alarm::Priority::High,
            AlarmPriority::Highest => alarm::Priority::Highest,
        }
    }
}

impl From<Action> for alarm::Action {
    fn from(sent: Action) -> alarm::Action {
        match sent {
            Action::Reset => alarm::Action::Reset,
            Action::Shelve(time) => alarm::Action::Shelve(time),
            Action::Unshelve => alarm::Action::Unshelve,
            Action::OutOfService => alarm::Action::OutOfService,
            Action::ReturnToService => alarm::Action::ReturnToService,
        }
    }
}
