//! In: the state of an alarm and an event. Out: the state after it, if the event has a meaning there.

/// State of an alarm, by name: IEC 62682 / ANSI/ISA-18.2; the latched ones by the 2009 edition.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum State {
    /// The condition is normal and nothing is left to acknowledge.
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
    /// Normal again, held by the latch, acknowledged; waits for the reset.
    LatchedAcknowledged,
    /// Set aside by a person, for a time.
    Shelved,
    /// Set aside by logic.
    SuppressedByDesign,
    /// Set aside for maintenance.
    OutOfService,
}

/// What can happen to an alarm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Event {
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

impl State {
    /// All of them.
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

    /// The state after an event, none if it has no meaning here.
    ///
    /// `abnormal` tells the condition now: an alarm that was set aside comes back by it.
    pub const fn after(self, event: Event, latching: bool, abnormal: bool) -> Option<State> {
        use Event::*;
        use State::*;
        let back = if abnormal { Unacknowledged } else { Normal };
        Some(match (self, event) {
            (_, Shelve) => Shelved,
            (_, SuppressByDesign) => SuppressedByDesign,
            (_, Event::OutOfService) => State::OutOfService,
            (Shelved, Unshelve | ShelvingExpired) => back,
            (SuppressedByDesign, Unsuppress) => back,
            (State::OutOfService, ReturnToService) => back,
            (Normal | ReturnedToNormalUnacknowledged | LatchedUnacknowledged, AlarmOccurs) => Unacknowledged,
            // Ours: the published table is silent, and a reset must never hide a standing alarm.
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

    /// Whether it is set aside: by a person, by logic or for maintenance.
    pub const fn is_set_aside(self) -> bool {
        matches!(self, State::Shelved | State::SuppressedByDesign | State::OutOfService)
    }

    /// The name used everywhere.
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
