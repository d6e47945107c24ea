//! Steps in the lives of alarms: numbers, logic, time; and what the lamp gets to know.

use super::*;
use std::vec::Vec;
use stillpoint_core::wire::alarm::AlarmState;
use stillpoint_core::wire::alarm::AlarmState::*;

/// What happens to the alarms of axis 1.
#[derive(Clone, Copy, Debug)]
enum Happening {
    /// A figure about it.
    Figure(Subject, i64),
    /// A person does this to the alarm of this number.
    Act(u32, Action),
    /// So much time passes. Unit: s
    Wait(u64),
}

use Happening::{Act, Figure, Wait};
use Subject::{Drift, Signal, Unsettled};

/// Number of the alarm, subject, state.
type Seen = (u32, Subject, AlarmState);

/// Ticks in a second.
const SECOND: u64 = 1000;

/// What is told of each step: number, subject and state; those that follow by logic or by the clock after it.
#[track_caller]
fn check(steps: &[(Happening, &[Seen])]) {
    let (mut alarms, mut now) = (Alarms::<2>::new(SECOND as u32), 0);
    for (number, (step, expected)) in steps.iter().enumerate() {
        let first = match *step {
            Figure(subject, figure) => alarms.step((1, subject), figure, (7, 3), now),
            Act(alarm, action) => alarms.act(alarm, action, now),
            Wait(seconds) => {
                now += seconds * SECOND;
                assert_eq!(alarms.is_due(now), !expected.is_empty(), "step {number}");
                None
            }
        };
        let mut told: Vec<Alarm> = first.into_iter().collect();
        while let Some(alarm) = alarms.next(now) {
            told.push(alarm);
        }
        assert!(told.iter().all(|told| (told.axis, told.at) == (1, now)), "step {number}: {told:?}");
        let seen: Vec<_> = told.iter().map(|told| (told.alarm, told.subject, told.state)).collect();
        assert_eq!(seen, *expected, "step {number}");
        assert!(!alarms.is_due(now), "step {number}");
    }
}

#[test]
fn an_alarm_lives_and_ends() {
    check(&[
        (Figure(Unsettled, 0), &[]),
        (Act(0, Action::Acknowledge), &[]),
        (Act(1, Action::Acknowledge), &[]),
        (Figure(Unsettled, 2), &[]),
        (Figure(Unsettled, 3), &[(1, Unsettled, Unacknowledged)]),
        (Figure(Unsettled, 4), &[]),
        (Act(2, Action::Acknowledge), &[]),
        (Act(1, Action::Acknowledge), &[(1, Unsettled, Acknowledged)]),
        (Act(1, Action::Acknowledge), &[]),
        (Wait(8 * 3600 - 1), &[]),
        (Wait(1), &[(1, Unsettled, Unacknowledged)]),
        (Figure(Unsettled, 1), &[]),
        (Figure(Unsettled, 0), &[]),
        (Wait(59), &[]),
        (Wait(1), &[(1, Unsettled, ReturnedToNormalUnacknowledged)]),
        (Figure(Unsettled, 3), &[(1, Unsettled, Unacknowledged)]),
        (Figure(Unsettled, 0), &[]),
        (Wait(60), &[(1, Unsettled, ReturnedToNormalUnacknowledged)]),
        (Act(1, Action::Acknowledge), &[(1, Unsettled, Normal)]),
        (Figure(Unsettled, 3), &[(2, Unsettled, Unacknowledged)]),
        (Act(2, Action::Shelve(65 * SECOND)), &[(2, Unsettled, Shelved)]),
        (Figure(Unsettled, 0), &[]),
        (Wait(65), &[(2, Unsettled, Normal)]),
        // Who sets it aside by its number finds it by its number.
        (Act(2, Action::OutOfService), &[(2, Unsettled, AlarmState::OutOfService)]),
        (Figure(Unsettled, 3), &[]),
        (Act(2, Action::ReturnToService), &[(2, Unsettled, Unacknowledged)]),
    ]);
}

#[test]
fn a_fault_of_the_signals_suppresses_what_means_nothing_then() {
    let fault =
        &[(1, Signal, Unacknowledged), (2, Unsettled, SuppressedByDesign), (3, Drift, SuppressedByDesign)];
    check(&[
        (Figure(Signal, 0), fault),
        (Figure(Signal, 4), &[]),
        (Figure(Drift, 256), &[]),
        // A person may set it aside all the same; when that ends, logic has it again.
        (Act(3, Action::Shelve(SECOND)), &[(3, Drift, Shelved)]),
        (Wait(1), &[(3, Drift, Unacknowledged), (3, Drift, SuppressedByDesign)]),
        (Act(2, Action::OutOfService), &[(2, Unsettled, AlarmState::OutOfService)]),
        (Act(1, Action::Acknowledge), &[(1, Signal, Acknowledged)]),
        // What stands comes back by itself; what a person set aside stays so.
        (Figure(Signal, -1), &[(1, Signal, Normal), (3, Drift, Unacknowledged)]),
        (Figure(Signal, 2), &[(4, Signal, Unacknowledged), (3, Drift, SuppressedByDesign)]),
        (Figure(Drift, 128), &[]),
        (Figure(Signal, -1), &[(4, Signal, ReturnedToNormalUnacknowledged), (3, Drift, Normal)]),
        (Act(2, Action::ReturnToService), &[(2, Unsettled, Normal)]),
    ]);
}

#[test]
fn a_step_tells_all_of_it() {
    let mut alarms = Alarms::<2>::new(1000);
    let told = alarms.step((1, Drift), 300, (7, 3), 9);
    let expected = Alarm {
        alarm: 1,
        axis: 1,
        subject: Drift,
        state: Unacknowledged,
        at: 9,
        number: 7,
        value: 300,
        limit: 256,
        event: AlarmEvent::AlarmOccurs,
        priority: stillpoint_core::wire::alarm::AlarmPriority::Low,
        category: stillpoint_core::wire::alarm::Category::MaintenanceRequired,
        kind: 3,
    };
    assert_eq!(told, Some(expected));
    assert_eq!(alarms.open().collect::<Vec<_>>(), [expected]);
    // The move behind it stays the one that raised it.
    let told = alarms.step((1, Drift), 100, (8, 4), 10).expect("it is over");
    assert_eq!((told.value, told.number, told.kind), (100, 7, 3));
}

#[test]
fn what_is_not_watched_has_no_alarm() {
    let mut alarms = Alarms::<2>::new(1000);
    assert_eq!(alarms.step((2, Signal), 0, (0, 0), 0), None);
    assert_eq!(alarms.step((1, Subject::Gap), 5, (0, 0), 0), None);
    let asked = Arrangement { axis: 1, subject: Subject::Gap, ..Arrangement::default() };
    assert_eq!(alarms.arrange(&asked).refused_name(), Some("axis"));
    assert_eq!((alarms.open().count(), alarms.wrong()), (0, Wrong::default()));
    assert!(alarms.step((0, Subject::Gap), 5, (0, 0), 0).is_some());
    while alarms.next(0).is_some() {}
    assert_eq!(alarms.wrong(), Wrong { unseen: true, ..Wrong::default() });
    assert!(alarms.step((1, Signal), 0, (0, 0), 0).is_some());
    while alarms.next(0).is_some() {}
    assert_eq!(alarms.wrong(), Wrong { unacknowledged: true, unseen: true, ..Wrong::default() });
}
