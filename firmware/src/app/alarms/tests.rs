//! State changes of alarms: numbers, suppression logic, time; and the conditions of the lamp.

use super::*;
use std::vec::Vec;
use stillpoint_core::wire::alarm::AlarmState;
use stillpoint_core::wire::alarm::AlarmState::*;

/// What happens to the alarms of axis 1.
#[derive(Clone, Copy, Debug)]
enum Input {
    /// A figure of the axis.
    Value(Subject, i64),
    /// A person's action on the alarm of this number.
    Act(u32, Action),
    /// Time passes. Unit: s
    Wait(u64),
}

use Input::{Act, Value, Wait};
use Subject::{Drift, Signal, Unsettled};

/// Number of the alarm, subject, state.
type Change = (u32, Subject, AlarmState);

/// A figure of axis 1, out of its seventh move.
fn figure(subject: Subject, value: i64) -> Figure {
    Figure { number: 7, kind: 3, ..Figure::new(1, subject, value) }
}

/// Ticks in a second.
const SECOND: u64 = 1000;

/// The state changes after each input, with those that follow by suppression logic or by time.
#[track_caller]
fn check(steps: &[(Input, &[Change])]) {
    let (mut alarms, mut now) = (Alarms::<2>::new(SECOND as u32), 0);
    for (number, (step, expected)) in steps.iter().enumerate() {
        let first = match *step {
            Value(subject, value) => alarms.step(&figure(subject, value), now),
            Act(alarm, action) => alarms.act(alarm, action, now),
            Wait(seconds) => {
                now += seconds * SECOND;
                assert_eq!(alarms.is_due(now), !expected.is_empty(), "step {number}");
                None
            }
        };
        let mut changes: Vec<Alarm> = first.into_iter().collect();
        while let Some(alarm) = alarms.next(now) {
            changes.push(alarm);
        }
        let placed = changes.iter().all(|alarm| (alarm.axis, alarm.at) == (1, now));
        assert!(placed, "step {number}: {changes:?}");
        let seen: Vec<_> = changes.iter().map(|alarm| (alarm.alarm, alarm.subject, alarm.state)).collect();
        assert_eq!(seen, *expected, "step {number}");
        assert!(!alarms.is_due(now), "step {number}");
    }
}

#[test]
fn an_alarm_lives_and_ends() {
    check(&[
        (Value(Unsettled, 0), &[]),
        (Act(0, Action::Acknowledge), &[]),
        (Act(1, Action::Acknowledge), &[]),
        (Value(Unsettled, 2), &[]),
        (Value(Unsettled, 3), &[(1, Unsettled, Unacknowledged)]),
        (Value(Unsettled, 4), &[]),
        (Act(2, Action::Acknowledge), &[]),
        (Act(1, Action::Acknowledge), &[(1, Unsettled, Acknowledged)]),
        (Act(1, Action::Acknowledge), &[]),
        (Wait(8 * 3600 - 1), &[]),
        (Wait(1), &[(1, Unsettled, Unacknowledged)]),
        (Value(Unsettled, 1), &[]),
        (Value(Unsettled, 0), &[]),
        (Wait(59), &[]),
        (Wait(1), &[(1, Unsettled, ReturnedToNormalUnacknowledged)]),
        (Value(Unsettled, 3), &[(1, Unsettled, Unacknowledged)]),
        (Value(Unsettled, 0), &[]),
        (Wait(60), &[(1, Unsettled, ReturnedToNormalUnacknowledged)]),
        (Act(1, Action::Acknowledge), &[(1, Unsettled, Normal)]),
        (Value(Unsettled, 3), &[(2, Unsettled, Unacknowledged)]),
        (Act(2, Action::Shelve(65 * SECOND)), &[(2, Unsettled, Shelved)]),
        (Value(Unsettled, 0), &[]),
        (Wait(65), &[(2, Unsettled, Normal)]),
        // Taken out of service by its number, the alarm keeps that number.
        (Act(2, Action::OutOfService), &[(2, Unsettled, AlarmState::OutOfService)]),
        (Value(Unsettled, 3), &[]),
        (Act(2, Action::ReturnToService), &[(2, Unsettled, Unacknowledged)]),
    ]);
}

#[test]
fn a_fault_of_the_signals_suppresses_alarms_without_meaning() {
    let fault =
        &[(1, Signal, Unacknowledged), (2, Unsettled, SuppressedByDesign), (3, Drift, SuppressedByDesign)];
    check(&[
        (Value(Signal, 0), fault),
        (Value(Signal, 4), &[]),
        (Value(Drift, 256), &[]),
        // A person may shelve it all the same; when that ends, it is suppressed again.
        (Act(3, Action::Shelve(SECOND)), &[(3, Drift, Shelved)]),
        (Wait(1), &[(3, Drift, Unacknowledged), (3, Drift, SuppressedByDesign)]),
        (Act(2, Action::OutOfService), &[(2, Unsettled, AlarmState::OutOfService)]),
        (Act(1, Action::Acknowledge), &[(1, Signal, Acknowledged)]),
        // A condition that persists raises its alarm again; an alarm out of service stays so.
        (Value(Signal, -1), &[(1, Signal, Normal), (3, Drift, Unacknowledged)]),
        (Value(Signal, 2), &[(4, Signal, Unacknowledged), (3, Drift, SuppressedByDesign)]),
        (Value(Drift, 128), &[]),
        (Value(Signal, -1), &[(4, Signal, ReturnedToNormalUnacknowledged), (3, Drift, Normal)]),
        (Act(2, Action::ReturnToService), &[(2, Unsettled, Normal)]),
    ]);
}

#[test]
fn a_state_change_has_all_fields() {
    let mut alarms = Alarms::<2>::new(1000);
    let raised = alarms.step(&figure(Drift, 300), 9);
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
    assert_eq!(raised, Some(expected));
    assert_eq!(alarms.not_normal().collect::<Vec<_>>(), [expected]);
    // Its move remains the one that raised it.
    let later = Figure { number: 8, kind: 4, ..figure(Drift, 100) };
    let cleared = alarms.step(&later, 10).expect("it is over");
    assert_eq!((cleared.value, cleared.number, cleared.kind), (100, 7, 3));
}

#[test]
fn other_axes_and_subjects_have_no_alarm() {
    let (mut alarms, none) = (Alarms::<2>::new(1000), Conditions::default());
    assert_eq!(alarms.step(&Figure::new(2, Signal, 0), 0), None);
    assert_eq!(alarms.step(&Figure::new(1, Subject::Gap, 5), 0), None);
    let request = Arrangement { axis: 1, subject: Subject::Gap, ..Arrangement::default() };
    assert_eq!(alarms.arrange(&request).refused_name(), Some("axis"));
    assert_eq!((alarms.not_normal().count(), alarms.conditions()), (0, none));
    assert!(alarms.step(&Figure::new(0, Subject::Gap, 5), 0).is_some());
    while alarms.next(0).is_some() {}
    assert_eq!(alarms.conditions(), Conditions { low_or_cleared: true, ..none });
    assert!(alarms.step(&Figure::new(1, Signal, 0), 0).is_some());
    while alarms.next(0).is_some() {}
    assert_eq!(alarms.conditions(), Conditions { unacknowledged: true, low_or_cleared: true, ..none });
}
