//! In: settings; sequences of values and actions. Out: refusals and states, where the published tables leave them open.

use super::*;
use std::string::ToString;

#[track_caller]
fn check_settings(change: impl Fn(&mut Parameters), broken: Option<&str>) {
    let mut parameters = Parameters::default();
    change(&mut parameters);
    assert_eq!(Settings::new(parameters).err().map(|invalid| invalid.parameter), broken);
}

#[test]
fn the_broken_parameter_is_named() {
    check_settings(|_| (), None);
    assert_eq!(Settings::default(), Settings::new(Parameters::default()).unwrap());
    check_settings(|p| p.limit = i64::MAX, Some("limit"));
    check_settings(|p| p.limit = i64::MIN, Some("deadband"));
    check_settings(|p| (p.limit, p.side) = (i64::MIN, Side::Below), Some("limit"));
    check_settings(|p| (p.limit, p.side) = (i64::MAX, Side::Below), Some("deadband"));
    check_settings(|p| p.deadband = -1, Some("deadband"));
    check_settings(|p| (p.limit, p.deadband) = (-2, i64::MAX), Some("deadband"));
    check_settings(|p| p.deadband = i64::MAX, None);
    check_settings(|p| p.on_delay = settings::LONGEST_TIME, None);
    check_settings(|p| p.on_delay = settings::LONGEST_TIME + 1, Some("on_delay"));
    check_settings(|p| p.off_delay = u64::MAX, Some("off_delay"));
    check_settings(|p| p.re_alarm_time = u64::MAX, Some("re_alarm_time"));
    check_settings(|p| p.longest_shelving = u64::MAX, Some("longest_shelving"));
}

fn settings(change: impl Fn(&mut Parameters)) -> Settings {
    let mut parameters =
        Parameters { limit: 10, deadband: 2, longest_shelving: 100, ..Parameters::default() };
    change(&mut parameters);
    Settings::new(parameters).unwrap()
}

/// The states after each value, one value a tick.
#[track_caller]
fn check(change: impl Fn(&mut Parameters), values: &[i64], expected: &[State]) {
    let settings = settings(change);
    let mut alarm = AlarmInstance::default();
    let mut states = std::vec![];
    for (now, value) in (0..).zip(values) {
        let before = alarm.state();
        let step = alarm.step(&settings, *value, now);
        assert_eq!(step.is_some(), before != alarm.state());
        if let Some(step) = step {
            assert_eq!((step.value, step.limit, step.at), (Some(*value), 10, now));
            assert_eq!((step.from, step.state), (before, alarm.state()));
        }
        states.push(alarm.state());
    }
    assert_eq!(states, expected);
}

#[test]
fn values_on_either_side_of_the_limit_become_states() {
    use State::{Normal as N, ReturnedToNormalUnacknowledged as R, Unacknowledged as U};
    check(|_| (), &[10, 11, 9, 8, 7, 11], &[N, U, U, U, R, U]);
    check(|p| p.side = Side::Below, &[10, 9, 11, 12, 13, 9], &[N, U, U, U, R, U]);
    check(|p| p.on_delay = 2, &[11, 11, 9, 11, 11, 11], &[N, N, N, N, N, U]);
    check(|p| p.off_delay = 1, &[11, 7, 8, 7, 7], &[U, U, U, U, R]);
    check(|p| p.latching = true, &[11, 7], &[U, State::LatchedUnacknowledged]);
    check(|_| (), &[i64::MIN, i64::MAX, i64::MIN], &[N, U, R]);
}

#[test]
fn a_reset_never_hides_an_abnormal_condition() {
    let settings = settings(|p| p.latching = true);
    let mut alarm = AlarmInstance::default();
    alarm.step(&settings, 11, 0);
    alarm.act(&settings, Action::Acknowledge, 1);
    alarm.step(&settings, 0, 2);
    assert_eq!(alarm.state(), State::LatchedAcknowledged);
    alarm.step(&settings, 11, 3);
    assert_eq!(alarm.state(), State::Unacknowledged);
    assert!(matches!(alarm.act(&settings, Action::Reset, 4), Answer::Rejected(_)));
}

#[test]
fn shelving_is_bounded_and_a_refusal_says_why() {
    let settings = settings(|_| ());
    let mut alarm = AlarmInstance::default();
    let mut refused = |action| match alarm.act(&settings, action, 0) {
        Answer::Rejected(rejected) => rejected.to_string(),
        Answer::Done(step) => panic!("{step:?}"),
    };
    assert_eq!(refused(Action::Shelve(0)), "can't shelve: the time must be more than 0");
    assert_eq!(refused(Action::Shelve(101)), "can't shelve: the time is longer than the settings allow");
    assert_eq!(refused(Action::Acknowledge), "can't acknowledge: the alarm is normal");
    assert_eq!(alarm, AlarmInstance::default());
    let Answer::Done(step) = alarm.act(&settings, Action::Shelve(100), 5) else { panic!("allowed") };
    assert_eq!((step.state, step.value, step.limit), (State::Shelved, None, 10));
    // Shelved once more at 50, it expires 100 later.
    alarm.act(&settings, Action::Shelve(100), 50);
    assert_eq!(alarm.wait(&settings, 149), None);
    assert_eq!(alarm.wait(&settings, 150).map(|step| step.event), Some(Event::ShelvingExpired));
    assert_eq!(alarm.state(), State::Normal);
}

#[test]
fn an_acknowledged_alarm_is_raised_again_unless_it_clears() {
    let settings = settings(|p| p.re_alarm_time = 10);
    let mut alarm = AlarmInstance::default();
    alarm.step(&settings, 11, 0);
    alarm.act(&settings, Action::Acknowledge, 5);
    assert_eq!(alarm.wait(&settings, 14), None);
    let step = alarm.wait(&settings, 15).unwrap();
    assert_eq!((step.event, step.is_annunciation()), (Event::ReAlarm, true));
    alarm.act(&settings, Action::Acknowledge, 16);
    assert_eq!(alarm.step(&settings, 0, 26).map(|step| step.state), Some(State::Normal));
    assert_eq!(alarm.wait(&settings, 99), None);
}

/// A value holds until the next one: delays end without a new value.
#[test]
fn a_delay_ends_without_a_new_value() {
    let settings = settings(|p| (p.on_delay, p.off_delay, p.re_alarm_time) = (5, 7, 20));
    let mut alarm = AlarmInstance::default();
    assert_eq!((alarm.hold(&settings, 0), alarm.due(&settings), alarm.value()), (None, NEVER, None));
    // Value or none, now, next instant due, state.
    let steps = [
        (Some(11), 100, 105, State::Normal),
        (None, 104, 105, State::Normal),
        (None, 105, NEVER, State::Unacknowledged),
        (Some(0), 110, 117, State::Unacknowledged),
        (Some(11), 112, NEVER, State::Unacknowledged),
        (Some(0), 120, 127, State::Unacknowledged),
        (None, 130, NEVER, State::ReturnedToNormalUnacknowledged),
    ];
    for (value, now, due, state) in steps {
        match value {
            Some(value) => alarm.step(&settings, value, now),
            None => alarm.hold(&settings, now),
        };
        assert_eq!((alarm.due(&settings), alarm.state()), (due, state), "at {now}");
    }
    alarm.step(&settings, 11, 200);
    alarm.hold(&settings, 205);
    alarm.act(&settings, Action::Acknowledge, 206);
    assert_eq!(alarm.due(&settings), 226);
    // The earlier of re-alarm time and off-delay.
    alarm.step(&settings, 0, 210);
    assert_eq!(alarm.due(&settings), 217);
}
