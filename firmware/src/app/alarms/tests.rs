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
    /// A person's limit of a share; 0 is none. Unit: per mille
    Limit(Subject, u32),
    /// Time passes. Unit: s
    Wait(u64),
}

use Input::{Act, Limit, Value, Wait};
use Subject::{Drift, SettlingLimit, Signal, Unsettled, UnsettledLimit};

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
            Limit(subject, limit) => alarms.set_limit(1, subject, limit, now),
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
        // Within a shift it is the same alarm that returns; later it is another.
        (Wait(8 * 3600 - 1), &[]),
        (Value(Unsettled, 3), &[(1, Unsettled, Unacknowledged)]),
        (Act(1, Action::Acknowledge), &[(1, Unsettled, Acknowledged)]),
        (Value(Unsettled, 0), &[]),
        (Wait(60), &[(1, Unsettled, Normal)]),
        (Wait(8 * 3600), &[]),
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
        (Value(Signal, 2), &[(1, Signal, Unacknowledged), (3, Drift, SuppressedByDesign)]),
        (Value(Drift, 255), &[]),
        (Value(Signal, -1), &[(1, Signal, ReturnedToNormalUnacknowledged), (3, Drift, Normal)]),
        (Act(2, Action::ReturnToService), &[(2, Unsettled, Normal)]),
    ]);
}

#[test]
fn a_share_is_abnormal_above_the_limit_that_a_person_gives() {
    check(&[
        (Value(SettlingLimit, 1000), &[]),
        (Limit(SettlingLimit, 50), &[]),
        (Limit(UnsettledLimit, 999), &[]),
        (Value(SettlingLimit, 51), &[(1, SettlingLimit, Unacknowledged)]),
        (Value(UnsettledLimit, 1000), &[(2, UnsettledLimit, Unacknowledged)]),
        (Value(SettlingLimit, 49), &[(1, SettlingLimit, ReturnedToNormalUnacknowledged)]),
        (Act(1, Action::Acknowledge), &[(1, SettlingLimit, Normal)]),
        (Act(2, Action::Acknowledge), &[(2, UnsettledLimit, Acknowledged)]),
        // Named before what the monitor finds by itself.
        (
            Value(Signal, 0),
            &[
                (3, Signal, Unacknowledged),
                (1, SettlingLimit, SuppressedByDesign),
                (2, UnsettledLimit, SuppressedByDesign),
                (4, Unsettled, SuppressedByDesign),
                (5, Drift, SuppressedByDesign),
            ],
        ),
        // Without a limit there is no alarm to suppress; with another limit nothing is shown yet.
        (Limit(SettlingLimit, 0), &[(1, SettlingLimit, Normal)]),
        (Limit(UnsettledLimit, 20), &[]),
        (
            Value(Signal, -1),
            &[
                (3, Signal, ReturnedToNormalUnacknowledged),
                (2, UnsettledLimit, Normal),
                (4, Unsettled, Normal),
                (5, Drift, Normal),
            ],
        ),
        (Value(SettlingLimit, 1000), &[]),
        (Wait(8 * 3600), &[]),
    ]);
}

/// A drift's score is at 256 or more exactly while the moves show it: however it varies on either side, one drift is one
/// alarm. The detector that hovered about its limit gave four alarms in eight minutes.
#[test]
fn a_drift_is_one_alarm_however_its_score_varies() {
    let score =
        |number: i64, stands: bool| if stands { 256 + number * 37 % 256 } else { 200 + number * 37 % 56 };
    let (mut alarms, mut changes) = (Alarms::<2>::new(SECOND as u32), Vec::new());
    for number in 0..57_600 {
        let stands = (20_000..40_000).contains(&number);
        changes.extend(alarms.step(&figure(Drift, score(number, stands)), number as u64 * SECOND / 2));
    }
    let seen: Vec<_> = changes.iter().map(|alarm| (alarm.alarm, alarm.state, alarm.at / SECOND)).collect();
    assert_eq!(seen, [(1, Unacknowledged, 10_000), (1, ReturnedToNormalUnacknowledged, 20_000)]);
}

/// A level that swings comes and goes with every swing; it calls a person twice, and ends a shift after the last.
#[test]
fn what_returns_stays_until_a_shift_has_passed_without_it() {
    for (subject, figures) in [(Drift, [400, 30]), (SettlingLimit, [200, 20]), (UnsettledLimit, [200, 20])] {
        let (mut alarms, mut seen) = (Alarms::<2>::new(SECOND as u32), Vec::new());
        alarms.set_limit(1, subject, 100, 0);
        let mut step = |alarms: &mut Alarms<2>, value: Option<i64>, minute: u64| {
            let first = value.and_then(|value| alarms.step(&figure(subject, value), minute * 60 * SECOND));
            let changes = first.into_iter().chain(core::iter::from_fn(|| alarms.next(minute * 60 * SECOND)));
            seen.extend(changes.map(|alarm| (alarm.alarm, alarm.state, minute)));
        };
        // Five minutes slow, five minutes not, for two shifts.
        for minute in 0..960 {
            step(&mut alarms, Some(figures[usize::from(minute % 10 >= 5)]), minute);
        }
        for minute in 960..3000 {
            step(&mut alarms, None, minute);
        }
        // A shift after it ended: another one.
        step(&mut alarms, Some(figures[0]), 3000);
        step(&mut alarms, Some(figures[1]), 3001);
        let came = [(1, Unacknowledged, 0), (1, ReturnedToNormalUnacknowledged, 5), (1, Unacknowledged, 10)];
        let ended = [(1, ReturnedToNormalUnacknowledged, 955 + 480)];
        let again = [(1, Unacknowledged, 3000), (1, ReturnedToNormalUnacknowledged, 3001)];
        assert_eq!(seen, [&came[..], &ended, &again].concat(), "{subject:?}");
    }
}

#[test]
fn what_begins_anew_does_not_return() {
    let mut alarms = Alarms::<2>::new(SECOND as u32);
    let states: Vec<_> =
        [300, 0, 300, 0].iter().filter_map(|value| alarms.step(&figure(Drift, *value), 0)).collect();
    assert_eq!(states.len(), 3, "it stays: {states:?}");
    let ended = alarms.begin(&figure(Drift, 0), 1).map(|alarm| alarm.state);
    assert_eq!(ended, Some(ReturnedToNormalUnacknowledged));
    let changes = [300, 0].map(|value| alarms.step(&figure(Drift, value), 2).is_some());
    assert_eq!(changes, [true, true]);
}

#[test]
fn an_alarm_takes_96_bytes() {
    assert_eq!(size_of::<MonitoredAlarm>(), 96);
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
