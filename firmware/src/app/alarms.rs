//! In: what is wrong with an axis, when it is right again, who has seen it. Out: steps in the life of alarms.
//!
//! The life cycle is the core's; no latch, no delay, nothing is set aside yet. One alarm per axis and
//! subject at a time, which keeps its number until it is normal again.
//!
//! | state | wrong (again) | right again | acknowledged |
//! |---|---|---|---|
//! | Normal | Unacknowledged, a new number | | refused |
//! | Unacknowledged | | ReturnedToNormalUnacknowledged | Acknowledged |
//! | Acknowledged | Unacknowledged | Normal | refused |
//! | ReturnedToNormalUnacknowledged | Unacknowledged | | Normal |

use stillpoint_core::alarm::{Event, State};
use stillpoint_core::wire::watch::{Alarm, AlarmState, Subject};

use crate::lamp::Wrong;

/// What is watched of each axis.
const SUBJECTS: [Subject; 2] = [Subject::Signal, Subject::Unsettled];

/// One alarm: its state, and how that was told.
#[derive(Clone, Copy, Debug, Default)]
struct Life {
    state: State,
    told: Alarm,
}

impl Life {
    /// What happens; nothing if it has no meaning in this state.
    fn enter(&mut self, event: Event) -> Option<()> {
        let abnormal = matches!(self.state, State::Unacknowledged | State::Acknowledged);
        self.state = self.state.after(event, false, abnormal)?;
        Some(())
    }

    /// The step that has just been made. Unit of `at`: ticks
    fn tell(&mut self, at: u64) -> Alarm {
        (self.told.state, self.told.at) = (on_wire(self.state), at);
        self.told
    }
}

/// All alarms of the device.
#[derive(Clone, Debug)]
pub(super) struct Alarms<const AXES: usize> {
    lives: [[Life; SUBJECTS.len()]; AXES],
    /// Numbers given so far.
    numbers: u32,
}

impl<const AXES: usize> Alarms<AXES> {
    pub(super) fn new() -> Alarms<AXES> {
        Alarms { lives: [[Life::default(); SUBJECTS.len()]; AXES], numbers: 0 }
    }

    fn life(&mut self, axis: u8, subject: Subject) -> Option<&mut Life> {
        let place = SUBJECTS.iter().position(|other| *other == subject)?;
        self.lives.get_mut(usize::from(axis))?.get_mut(place)
    }

    /// Something is wrong; its number and state are filled in here. Nothing if it is told already.
    pub(super) fn raise(&mut self, wrong: Alarm) -> Option<Alarm> {
        let next = self.numbers.wrapping_add(1);
        let life = self.life(wrong.axis, wrong.subject)?;
        let (known, acknowledged) = (life.state != State::Normal, life.state == State::Acknowledged);
        life.enter(if acknowledged { Event::ReAlarm } else { Event::AlarmOccurs })?;
        life.told = Alarm { alarm: if known { life.told.alarm } else { next }, ..wrong };
        let told = life.tell(wrong.at);
        if !known {
            self.numbers = next;
        }
        Some(told)
    }

    /// It is right again; nothing if it was not wrong. Unit of `at`: ticks
    pub(super) fn clear(&mut self, axis: u8, subject: Subject, at: u64) -> Option<Alarm> {
        let life = self.life(axis, subject)?;
        life.enter(Event::ReturnToNormal)?;
        Some(life.tell(at))
    }

    /// A person has seen it; nothing if no alarm of this number waits for that. Unit of `at`: ticks
    pub(super) fn acknowledge(&mut self, alarm: u32, at: u64) -> Option<Alarm> {
        let mut lives = self.lives.iter_mut().flatten();
        let life = lives.find(|life| life.told.alarm == alarm && life.state != State::Normal)?;
        life.enter(Event::Acknowledge)?;
        Some(life.tell(at))
    }

    /// Those that are not normal.
    pub(super) fn open(&self) -> impl Iterator<Item = Alarm> + '_ {
        let open = self.lives.iter().flatten().filter(|life| life.state != State::Normal);
        open.map(|life| life.told)
    }

    /// For the lamp.
    pub(super) fn wrong(&self) -> Wrong {
        let any = |state: State| self.lives.iter().flatten().any(|life| life.state == state);
        Wrong {
            unacknowledged: any(State::Unacknowledged),
            returned: any(State::ReturnedToNormalUnacknowledged),
            acknowledged: any(State::Acknowledged),
            ..Wrong::default()
        }
    }
}

/// The same name on the wire.
const fn on_wire(state: State) -> AlarmState {
    match state {
        State::Normal => AlarmState::Normal,
        State::Unacknowledged => AlarmState::Unacknowledged,
        State::Acknowledged => AlarmState::Acknowledged,
        State::ReturnedToNormalUnacknowledged => AlarmState::ReturnedToNormalUnacknowledged,
        State::LatchedUnacknowledged => AlarmState::LatchedUnacknowledged,
        State::LatchedAcknowledged => AlarmState::LatchedAcknowledged,
        State::Shelved => AlarmState::Shelved,
        State::SuppressedByDesign => AlarmState::SuppressedByDesign,
        State::OutOfService => AlarmState::OutOfService,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use AlarmState::{Acknowledged, Normal, ReturnedToNormalUnacknowledged as Returned, Unacknowledged};

    /// What is done to the alarm of axis 1 about unsettled stops.
    enum Step {
        Raise,
        Clear,
        Acknowledge(u32),
    }

    #[track_caller]
    fn check(steps: &[(Step, Option<(u32, AlarmState)>)]) {
        let mut alarms = Alarms::<2>::new();
        for (number, (step, expected)) in steps.iter().enumerate() {
            let told = match step {
                Step::Raise => {
                    alarms.raise(Alarm { axis: 1, subject: Subject::Unsettled, ..Alarm::default() })
                }
                Step::Clear => alarms.clear(1, Subject::Unsettled, 9),
                Step::Acknowledge(alarm) => alarms.acknowledge(*alarm, 9),
            };
            assert_eq!(told.map(|told| (told.alarm, told.state)), *expected, "step {number}");
            assert!(told.is_none_or(|told| (told.axis, told.subject) == (1, Subject::Unsettled)));
        }
    }

    #[test]
    fn an_alarm_lives_and_ends() {
        use Step::{Acknowledge, Clear, Raise};
        check(&[
            (Clear, None),
            (Acknowledge(0), None),
            (Acknowledge(1), None),
            (Raise, Some((1, Unacknowledged))),
            (Raise, None),
            (Acknowledge(2), None),
            (Acknowledge(1), Some((1, Acknowledged))),
            (Acknowledge(1), None),
            (Raise, Some((1, Unacknowledged))),
            (Clear, Some((1, Returned))),
            (Clear, None),
            (Raise, Some((1, Unacknowledged))),
            (Clear, Some((1, Returned))),
            (Acknowledge(1), Some((1, Normal))),
            (Acknowledge(1), None),
            (Raise, Some((2, Unacknowledged))),
            (Acknowledge(2), Some((2, Acknowledged))),
            (Clear, Some((2, Normal))),
            (Raise, Some((3, Unacknowledged))),
        ]);
    }

    #[test]
    fn an_axis_or_a_subject_that_is_not_watched_has_none() {
        let mut alarms = Alarms::<2>::new();
        assert_eq!(alarms.raise(Alarm { axis: 2, subject: Subject::Signal, ..Alarm::default() }), None);
        assert_eq!(alarms.raise(Alarm { subject: Subject::Drift, ..Alarm::default() }), None);
        assert_eq!((alarms.open().count(), alarms.wrong()), (0, Wrong::default()));
    }
}
