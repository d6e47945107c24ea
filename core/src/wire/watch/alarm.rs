//! In: a step in the life of an alarm, and what is asked of one. Out: the payloads that say so.

use serde::{Deserialize, Serialize};

use crate::alarm;
use crate::settings::Invalid;
use crate::wire::appended;

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

/// What happened to an alarm, by the names of [`alarm::Event`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum AlarmEvent {
    /// Not told, and neither is what follows it.
    #[default]
    Unknown,
    /// The condition became abnormal.
    AlarmOccurs,
    /// The condition became normal.
    ReturnToNormal,
    /// It stands long after it was acknowledged.
    ReAlarm,
    /// A person has seen it.
    Acknowledge,
    /// A person lets go of the latch.
    Reset,
    /// A person sets it aside for a time.
    Shelve,
    /// A person takes it back before the time is over.
    Unshelve,
    /// The time is over.
    ShelvingExpired,
    /// Logic sets it aside.
    SuppressByDesign,
    /// Logic takes it back.
    Unsuppress,
    /// It is set aside for maintenance.
    OutOfService,
    /// It is taken back from maintenance.
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

/// What the alarm says of the axis: the four categories of NAMUR NE 107.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Category {
    /// F: the signal is invalid, something is broken.
    #[default]
    Failure,
    /// C: the signal is invalid for a time, somebody works on it.
    FunctionCheck,
    /// S: run outside of what was specified, or uncertain.
    OutOfSpecification,
    /// M: the signal is valid, but wear is nearly used up.
    MaintenanceRequired,
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
    /// What happened.
    #[serde(deserialize_with = "appended")]
    pub event: AlarmEvent,
    /// How soon a person must answer.
    #[serde(deserialize_with = "appended")]
    pub priority: AlarmPriority,
    /// What it says of the axis.
    #[serde(deserialize_with = "appended")]
    pub category: Category,
    /// Number of the kind of moves it is about, 0 if none.
    #[serde(deserialize_with = "appended")]
    pub kind: u32,
}

/// What a person may do about an alarm; seeing it is a command of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Action {
    /// Let go of the latch.
    Reset,
    /// Set it aside for a time. Unit: ticks
    Shelve(u64),
    /// Take it back now.
    Unshelve,
    /// Set it aside for maintenance.
    OutOfService,
    /// Maintenance is over.
    ReturnToService,
}

/// How one alarm of one axis is to behave; see [`alarm::Parameters`] for each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Arrangement {
    /// Axis, from 0.
    pub axis: u8,
    /// What the alarm is about.
    pub subject: Subject,
    /// Whether it is held until a person resets it.
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

/// Field names in order; those that can be refused are named so by [`Invalid`].
const NAMES: [&str; 8] =
    ["axis", "subject", "latching", "on_delay", "off_delay", "re_alarm_time", "longest_shelving", "priority"];

/// How an alarm behaves now; the answer to `Arrange`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Arranged {
    /// What is in force.
    pub arrangement: Arrangement,
    /// The last `Arrange` was refused: this field of it, counted from 0, broke its rule.
    pub refused: Option<u8>,
}

impl Arranged {
    /// What to answer: what is in force now, and what was refused, if anything.
    pub fn new(arrangement: Arrangement, refused: Option<Invalid>) -> Arranged {
        let place = |invalid: Invalid| NAMES.iter().position(|name| *name == invalid.parameter);
        // A parameter without a place here would still be told as refused.
        let refused = refused.map(|invalid| place(invalid).map_or(u8::MAX, |place| place as u8));
        Arranged { arrangement, refused }
    }

    /// Name of the refused field.
    pub fn refused_name(&self) -> Option<&'static str> {
        let place = usize::from(self.refused?);
        Some(NAMES.get(place).copied().unwrap_or("a parameter of a later version"))
    }
}

/// Two enums with the same names at the same meaning, made of each other.
macro_rules! alike {
    ($($stage:path, $sent:ident: $($name:ident)*;)*) => {
        $(
            impl From<$stage> for $sent {
                fn from(told: $stage) -> $sent {
                    match told {
                        $(<$stage>::$name => $sent::$name,)*
                    }
                }
            }
        )*
    };
}

alike! {
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
