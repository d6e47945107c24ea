//! In: the state of an alarm and an event. Out: the next state, if the event has a meaning in that state.

/// State of an alarm, with the names of IEC 62682 / ANSI/ISA-18.2; the latched states from the 2009 edition.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum State {
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

/// An event of an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Event {
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

impl State {
    /// All states.
    pub const ALL: [State; 9] = [
        State::Normal,
        State::Unacknowledged,
        State::Acknowledged,
        State::ReturnedToNormalUnacknowledged,
        State::LatchedUnacknowledged,
        State::LatchedAcknowledged,
        State::Shelved,
        State::SuppressedByDesign,
        State::OutOfService,
    ];

    /// The state after an event, `None` if the event has no meaning in this state.
    ///
    /// `abnormal` is the condition now. An alarm that was set aside returns unacknowledged if it is abnormal, else
    /// normal.
    pub const fn after(self, event: Event, latching: bool, abnormal: bool) -> Option<State> {
        use Event::*;
        use State::*;
        let returned = if abnormal { Unacknowledged } else { Normal };
        Some(match (self, event) {
            (_, Shelve) => Shelved,
            (_, SuppressByDesign) => SuppressedByDesign,
            (_, Event::OutOfService) => State::OutOfService,
            (Shelved, Unshelve | ShelvingExpired) => returned,
            (SuppressedByDesign, Unsuppress) => returned,
            (State::OutOfService, ReturnToService) => returned,
            (Normal | ReturnedToNormalUnacknowledged | LatchedUnacknowledged, AlarmOccurs) => Unacknowledged,
            // Our choice, because the published table leaves it open: a reset must never hide an abnormal condition.
            (LatchedAcknowledged, AlarmOccurs) => Unacknowledged,
            (Acknowledged, ReAlarm) => Unacknowledged,
            (Unacknowledged, Acknowledge) => Acknowledged,
            (ReturnedToNormalUnacknowledged, Acknowledge) => Normal,
            (LatchedUnacknowledged, Acknowledge) => LatchedAcknowledged,
            (LatchedAcknowledged, Reset) => Normal,
            (Unacknowledged, ReturnToNormal) if latching => LatchedUnacknowledged,
            (Unacknowledged, ReturnToNormal) => ReturnedToNormalUnacknowledged,
            (Acknowledged, ReturnToNormal) if latching => LatchedAcknowledged,
            (Acknowledged, ReturnToNormal) => Normal,
            _ => return None,
        })
    }

    /// Whether the alarm is set aside: shelved, suppressed by design or out of service.
    pub const fn is_set_aside(self) -> bool {
        matches!(self, State::Shelved | State::SuppressedByDesign | State::OutOfService)
    }

    /// The state as words, as in reports and files.
    pub const fn word(self) -> &'static str {
        match self {
            State::Normal => "normal",
            State::Unacknowledged => "unacknowledged",
            State::Acknowledged => "acknowledged",
            State::ReturnedToNormalUnacknowledged => "returned to normal unacknowledged",
            State::LatchedUnacknowledged => "latched unacknowledged",
            State::LatchedAcknowledged => "latched acknowledged",
            State::Shelved => "shelved",
            State::SuppressedByDesign => "suppressed by design",
            State::OutOfService => "out of service",
        }
    }
}
