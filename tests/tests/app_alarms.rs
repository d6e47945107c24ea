//! The life of an alarm from end to end, and what the lamp shows of it.

use stillpoint::source::rehearsal::axis::Axis;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::wire::alarm::{
    Action, Alarm, AlarmEvent, AlarmPriority, AlarmState, Arranged, Arrangement, Category, Subject,
};
use stillpoint_core::wire::command::{Acknowledge, Act, Apply, Command, Declare};
use stillpoint_core::wire::drift::Drift;
use stillpoint_core::wire::finding::Which;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::{self, Limits};
use stillpoint_core::{Parameters, Reading};
use stillpoint_firmware::lamp::Lamp;
use stillpoint_tests::monitor::{Monitor, Received};

const RATE: u32 = 4000;
const PERIOD: u32 = 1_000_000 / RATE;

fn parameters() -> Parameters {
    Parameters { window: 900, ..Parameters::at(1_000_000) }
}

fn readings(seconds: usize) -> Vec<Reading> {
    let [shuttle, ..] = axes();
    Axis::new(shuttle, 7, RATE).expect("an axis").take(seconds * RATE as usize).collect()
}

fn alarms(received: &[Received]) -> Vec<Alarm> {
    let alarm = |(header, message): &Received| match message {
        Message::Alarm(alarm) => Some(*alarm).filter(|_| header.priority == Priority::Alarm),
        _ => None,
    };
    received.iter().filter_map(alarm).collect()
}

fn seen(received: &[Received]) -> Vec<(u32, AlarmState)> {
    alarms(received).iter().map(|alarm| (alarm.alarm, alarm.state)).collect()
}

fn acknowledge(alarm: u32) -> Command {
    Command::Acknowledge(Acknowledge { alarm })
}

fn refused(monitor: &mut Monitor) -> u32 {
    monitor.app.publish_status(0);
    let refused = |(_, message): &Received| match message {
        Message::Status(status) => Some(status.refused_commands),
        _ => None,
    };
    monitor.receive().iter().find_map(refused).expect("a status")
}

/// One move of one second for each value of `off`; feedback stays this far from its target. Unit of `off`: counts
fn stops(from: u32, off: &[i32]) -> Vec<Reading> {
    let reading = |sample: u32| {
        let (number, part) = (sample / 1000, (sample % 1000).min(200) as i32);
        let travelled = part * 100;
        let command = if (from + number).is_multiple_of(2) { travelled } else { 20_000 - travelled };
        // The rest before ends with the sample at which the command still stands.
        let place = sample.saturating_sub(1) / 1000;
        let feedback = command + off.get(place as usize).copied().unwrap_or(0);
        Reading { tick: (from * 1000 + sample) * 1000, command, feedback }
    };
    (0..off.len() as u32 * 1000).map(reading).collect()
}

#[test]
fn three_stops_that_did_not_settle_are_an_alarm_until_a_minute_of_others() {
    let mut monitor = Monitor::new(Parameters { window: 50, ..parameters() }, 1000);
    // A stop is judged as the next move begins.
    assert_eq!(seen(&monitor.sample(stops(0, &[0, 400, 400, 0, 400, 400]))), []);
    assert_eq!(monitor.app.lamp(), Lamp::Off);
    let received = monitor.sample(stops(6, &[400, 400, 400]));
    let [alarm] = alarms(&received)[..] else { panic!("{:?}", alarms(&received)) };
    assert_eq!((alarm.alarm, alarm.axis, alarm.subject), (1, 0, Subject::Unsettled));
    assert_eq!((alarm.number, alarm.value, alarm.limit), (7, 3, 3));
    assert_eq!(monitor.app.lamp(), Lamp::Fast);
    assert_eq!(seen(&monitor.send(&acknowledge(1))), [(1, AlarmState::Acknowledged)]);
    assert_eq!(monitor.app.lamp(), Lamp::Steady);
    assert_eq!(seen(&monitor.sample(stops(9, &[0; 60]))), [], "a stop takes a second");
    assert_eq!(seen(&monitor.sample(stops(69, &[0; 2]))), [(1, AlarmState::Normal)]);
    assert_eq!((monitor.app.lamp(), refused(&mut monitor)), (Lamp::Off, 0));
    let mut off = [0; 65];
    off[..3].fill(400);
    let received = monitor.sample(stops(71, &off));
    let returned = AlarmState::ReturnedToNormalUnacknowledged;
    // It returns within a shift: the number says that it is the same.
    assert_eq!(seen(&received), [(1, AlarmState::Unacknowledged), (1, returned)]);
    assert_eq!(monitor.app.lamp(), Lamp::Slow);
    assert_eq!(seen(&monitor.send(&acknowledge(2))), []);
    assert_eq!(refused(&mut monitor), 1, "there is no second");
    assert_eq!(
        seen(&monitor.send(&Command::Identify)),
        [(1, returned)],
        "Identify is answered with the open alarms"
    );
    assert_eq!(seen(&monitor.send(&acknowledge(1))), [(1, AlarmState::Normal)]);
    assert_eq!((monitor.app.lamp(), refused(&mut monitor)), (Lamp::Off, 1));
}

/// One move of 400 ms for each value of `late`, forward and backward in turn: feedback enters the window this long after
/// the command end. Unit: ms
fn settling(from: u32, late: &[u32]) -> Vec<Reading> {
    let reading = |sample: u32| {
        let (place, part) = (sample / 400, sample % 400);
        let travelled = (part.min(200) * 100) as i32;
        let command = if (from + place).is_multiple_of(2) { travelled } else { 20_000 - travelled };
        // The rest before ends with the sample at which the command still stands.
        let off = |before: u32| before % 400 < 199 + late[before as usize / 400];
        let off = if sample.checked_sub(1).is_some_and(off) { 400 } else { 0 };
        Reading { tick: (from * 400 + sample) * 1000, command, feedback: command + off }
    };
    (0..late.len() as u32 * 400).map(reading).collect()
}

/// Limits for the axis.
fn limit(limits: Limits) -> Command {
    let parameters = settings::Parameters { limits, ..(&Parameters { window: 50, ..parameters() }).into() };
    Command::Apply(Apply { axis: 0, parameters })
}

fn limited(limits: Limits) -> Monitor {
    let mut monitor = Monitor::new(Parameters { window: 50, ..parameters() }, 1000);
    monitor.send(&limit(limits));
    monitor
}

/// Settling within 30 ms, for all but one move of ten.
const LIMITS: Limits = Limits { settling: 30_000, settling_permille: 0, unsettled_permille: 0, kind: 0 };

#[test]
fn a_share_of_late_moves_is_an_alarm_until_it_is_shown_to_be_below() {
    let mut monitor = limited(LIMITS);
    // The evidence takes 27 late moves in a row; each is reported as the next one begins.
    assert_eq!(seen(&monitor.sample(settling(0, &[20; 40]))), []);
    assert_eq!(seen(&monitor.sample(settling(40, &[40; 27]))), []);
    let reported = alarms(&monitor.sample(settling(67, &[20; 311])));
    let [alarm] = reported[..] else { panic!("{reported:?}") };
    assert_eq!((alarm.subject, alarm.state), (Subject::SettlingLimit, AlarmState::Unacknowledged));
    assert_eq!((alarm.number, alarm.kind, alarm.value, alarm.limit), (67, 2, 1000, 100));
    assert_eq!((alarm.priority, alarm.category), (AlarmPriority::Medium, Category::OutOfSpecification));
    let reported = alarms(&monitor.sample(settling(378, &[40; 28])));
    let states: Vec<_> = reported.iter().map(|alarm| (alarm.alarm, alarm.state, alarm.value)).collect();
    let returned = AlarmState::ReturnedToNormalUnacknowledged;
    assert_eq!(states, [(1, returned, 0), (1, AlarmState::Unacknowledged, 1000)]);
    // Without the limit the alarm is over; with it again, the moves before are forgotten.
    monitor.send(&limit(Limits::default()));
    assert_eq!(seen(&monitor.sample(settling(406, &[40; 40]))), [(1, returned)]);
    monitor.send(&limit(LIMITS));
    assert_eq!(seen(&monitor.sample(settling(446, &[40; 27]))), []);
    assert_eq!(seen(&monitor.sample(settling(473, &[40; 2]))), [(1, AlarmState::Unacknowledged)]);
}

#[test]
fn an_unsettled_move_counts_against_both_limits_and_an_interrupted_one_against_none() {
    let mut monitor = limited(Limits { unsettled_permille: 300, ..LIMITS });
    // Never inside: unsettled.
    let reported = alarms(&monitor.sample(settling(0, &[201; 40])));
    let about: Vec<_> = reported.iter().map(|alarm| (alarm.subject, alarm.number, alarm.priority)).collect();
    let expected = [
        (Subject::Unsettled, 3, AlarmPriority::Medium),
        (Subject::SettlingLimit, 27, AlarmPriority::Medium),
        (Subject::UnsettledLimit, 38, AlarmPriority::High),
    ];
    assert_eq!(about, expected);
    // Inside for less than the window time: interrupted.
    let mut monitor = limited(Limits { unsettled_permille: 300, ..LIMITS });
    let reported = alarms(&monitor.sample(settling(0, &[199; 60])));
    assert!(reported.iter().all(|alarm| alarm.subject == Subject::Unsettled), "{reported:?}");
}

#[test]
fn a_limit_of_one_kind_leaves_the_others_alone() {
    let late: Vec<u32> = (0..100).map(|number| if number % 2 == 0 { 20 } else { 40 }).collect();
    for (kind, expected) in [(2, vec![]), (1, vec![(54, 1)])] {
        let mut monitor = limited(Limits { kind, ..LIMITS });
        let reported = alarms(&monitor.sample(settling(0, &late)));
        let seen: Vec<_> = reported.iter().map(|alarm| (alarm.number, alarm.kind)).collect();
        assert_eq!(seen, expected, "kind {kind}");
    }
}

#[test]
fn a_fault_of_the_signals_is_an_alarm_until_other_settings_are_in_force() {
    let mut monitor = Monitor::new(parameters(), PERIOD);
    let dead: Vec<Reading> =
        readings(20).into_iter().map(|reading| Reading { command: 5, ..reading }).collect();
    let (first, second) = dead.split_at(dead.len() / 2);
    let reported = alarms(&monitor.sample(first.iter().copied()));
    let about: Vec<_> = reported.iter().map(|alarm| (alarm.alarm, alarm.subject, alarm.state)).collect();
    let suppressed = AlarmState::SuppressedByDesign;
    assert_eq!(
        about,
        [
            (1, Subject::Signal, AlarmState::Unacknowledged),
            (2, Subject::Unsettled, suppressed),
            (3, Subject::Drift, suppressed)
        ]
    );
    assert_eq!((reported[0].value, reported[0].category), (Which::CommandDead as i64, Category::Failure));
    monitor.send(&acknowledge(1));
    assert_eq!(monitor.app.lamp(), Lamp::Steady);
    let parameters = settings::Parameters { inferred: true, ..(&parameters()).into() };
    monitor.send(&Command::Apply(Apply { axis: 0, parameters }));
    let received = monitor.sample(second.iter().copied());
    assert_eq!(seen(&received), [1, 2, 3].map(|alarm| (alarm, AlarmState::Normal)));
    assert_eq!(monitor.app.lamp(), Lamp::Off);
}

/// Readings of an axis that stands still, a millisecond apart.
fn still(from: u32, samples: u32) -> impl Iterator<Item = Reading> {
    (from..from + samples).map(|k| Reading { tick: k * 1000, command: 0, feedback: 0 })
}

#[test]
fn lost_samples_are_an_alarm_of_the_monitor_itself() {
    let mut monitor = Monitor::new(parameters(), 1000);
    assert_eq!(seen(&monitor.sample(still(0, 1000))), []);
    let reported = alarms(&monitor.sample(still(1005, 10_000)));
    let [alarm] = reported[..] else { panic!("{reported:?}") };
    assert_eq!((alarm.subject, alarm.category), (Subject::Gap, Category::FunctionCheck));
    assert_eq!((alarm.axis, alarm.value, alarm.limit), (0, 5, 1));
    // Of low priority: no buzzer.
    assert_eq!((monitor.app.lamp(), monitor.app.lamp().sounds_buzzer()), (Lamp::Slow, false));
    // Again within a minute is still the same; a minute after the last it is over.
    assert_eq!(seen(&monitor.sample(still(11_020, 59_999))), []);
    assert_eq!(seen(&monitor.sample(still(71_019, 5))), [(1, AlarmState::ReturnedToNormalUnacknowledged)]);
    assert_eq!(seen(&monitor.send(&acknowledge(1))), [(1, AlarmState::Normal)]);
    assert_eq!(monitor.app.lamp(), Lamp::Off);
}

#[test]
fn a_following_error_that_comes_with_every_move_is_one_alarm() {
    let following = Parameters {
        window: 50,
        following_error_window: 300,
        following_error_time_out: 100_000,
        ..parameters()
    };
    let mut monitor = Monitor::new(following, 1000);
    let reported = alarms(&monitor.sample(stops(0, &[0, 400, 0, 400, 0, 400, 0])));
    let [alarm] = reported[..] else { panic!("{reported:?}") };
    assert_eq!((alarm.subject, alarm.value, alarm.limit), (Subject::FollowingError, 100, 1));
    assert_eq!((alarm.number, alarm.priority), (2, AlarmPriority::Medium));
    let reported = alarms(&monitor.sample(stops(7, &[0; 60])));
    let [alarm] = reported[..] else { panic!("{reported:?}") };
    assert_eq!(alarm.state, AlarmState::ReturnedToNormalUnacknowledged);
}

/// A monitor that has reported three stops that did not settle.
fn unsettled() -> Monitor {
    let mut monitor = Monitor::new(Parameters { window: 50, ..parameters() }, 1000);
    let received = monitor.sample(stops(0, &[0, 400, 400, 400, 400]));
    assert_eq!(seen(&received), [(1, AlarmState::Unacknowledged)]);
    monitor
}

fn act(action: Action) -> Command {
    Command::Act(Act { alarm: 1, action })
}

const SECOND: u64 = 1_000_000;

/// Sends the arrangement the monitor starts with, altered by `change`, and returns the answer.
fn arrange(monitor: &mut Monitor, change: impl Fn(&mut Arrangement)) -> Arranged {
    let mut arrangement = Arrangement {
        axis: 0,
        subject: Subject::Unsettled,
        longest_shelving: 100 * SECOND,
        priority: AlarmPriority::Medium,
        ..Arrangement::default()
    };
    change(&mut arrangement);
    let received = monitor.send(&Command::Arrange(arrangement));
    let arranged = received.iter().find_map(|(_, message)| match message {
        Message::Arranged(arranged) => Some(*arranged),
        _ => None,
    });
    let arranged = arranged.expect("an answer");
    assert_eq!(arranged.refused.is_none(), arranged.arrangement == arrangement, "{arranged:?}");
    arranged
}

#[test]
fn a_latch_holds_until_it_is_reset() {
    let mut monitor = unsettled();
    assert_eq!(arrange(&mut monitor, |arrangement| arrangement.latching = true).refused, None);
    assert_eq!(seen(&monitor.sample(stops(5, &[0, 0]))), [(1, AlarmState::LatchedUnacknowledged)]);
    assert_eq!((seen(&monitor.send(&act(Action::Reset))), refused(&mut monitor)), (vec![], 1));
    assert_eq!(monitor.app.lamp(), Lamp::Slow);
    assert_eq!(seen(&monitor.send(&acknowledge(1))), [(1, AlarmState::LatchedAcknowledged)]);
    assert_eq!(monitor.app.lamp(), Lamp::Steady);
    assert_eq!(seen(&monitor.send(&act(Action::Reset))), [(1, AlarmState::Normal)]);
    assert_eq!(monitor.app.lamp(), Lamp::Off);
}

#[test]
fn what_is_shelved_comes_back_by_itself() {
    let mut monitor = unsettled();
    for time in [0, 8 * 3600 * SECOND + 1] {
        assert_eq!(seen(&monitor.send(&act(Action::Shelve(time)))), []);
    }
    assert_eq!(refused(&mut monitor), 2);
    assert_eq!(seen(&monitor.send(&act(Action::Shelve(3 * SECOND)))), [(1, AlarmState::Shelved)]);
    assert_eq!(monitor.app.lamp(), Lamp::Off);
    assert_eq!(seen(&monitor.send(&Command::Identify)), [(1, AlarmState::Shelved)]);
    // The last sample was at 4.999 s.
    let mut readings = stops(5, &[400; 4]).into_iter();
    assert_eq!(seen(&monitor.sample(readings.by_ref().take(2999))), []);
    let reported = alarms(&monitor.sample(readings));
    assert_eq!((reported[0].event, reported[0].at), (AlarmEvent::ShelvingExpired, 7_999_000));
    assert_eq!((reported[0].state, reported.len()), (AlarmState::Unacknowledged, 1));
    // Shelved, normal again, then unshelved early: the alarm is over.
    monitor.send(&act(Action::Shelve(90 * SECOND)));
    assert_eq!(seen(&monitor.sample(stops(9, &[0; 62]))), []);
    assert_eq!(seen(&monitor.send(&act(Action::Unshelve))), [(1, AlarmState::Normal)]);
}

#[test]
fn out_of_service_has_no_end_but_the_return() {
    let mut monitor = unsettled();
    assert_eq!(seen(&monitor.send(&act(Action::OutOfService))), [(1, AlarmState::OutOfService)]);
    assert_eq!(seen(&monitor.sample(stops(5, &[0, 400, 400, 400, 400, 400]))), []);
    assert_eq!((seen(&monitor.send(&act(Action::Unshelve))), refused(&mut monitor)), (vec![], 1));
    assert_eq!(seen(&monitor.send(&act(Action::ReturnToService))), [(1, AlarmState::Unacknowledged)]);
}

#[test]
fn delays_and_the_re_alarm_go_by_the_clock() {
    let mut monitor = Monitor::new(Parameters { window: 50, ..parameters() }, 1000);
    let slow = |arrangement: &mut Arrangement| {
        (arrangement.on_delay, arrangement.off_delay, arrangement.re_alarm_time) =
            (3 * SECOND, 2 * SECOND, 4 * SECOND);
    };
    arrange(&mut monitor, slow);
    // The third unsettled stop is reported as the fifth move begins; the alarm names the last move reported.
    let reported = alarms(&monitor.sample(stops(0, &[0, 400, 400, 400, 400, 400, 400, 400])));
    let raised: Vec<_> = reported.iter().map(|alarm| (alarm.event, alarm.at, alarm.number)).collect();
    assert_eq!(raised, [(AlarmEvent::AlarmOccurs, 4 * SECOND + 1000 + 3 * SECOND, 6)]);
    monitor.send(&acknowledge(1));
    let reported = alarms(&monitor.sample(stops(8, &[400, 400, 400, 400, 0])));
    let again: Vec<_> = reported.iter().map(|alarm| (alarm.event, alarm.at)).collect();
    assert_eq!(again, [(AlarmEvent::ReAlarm, 7_999_000 + 4 * SECOND)]);
    let reported = alarms(&monitor.sample(stops(13, &[0, 0, 0, 0])));
    let over: Vec<_> = reported.iter().map(|alarm| (alarm.event, alarm.at)).collect();
    assert_eq!(over, [(AlarmEvent::ReturnToNormal, 13 * SECOND + 1000 + 2 * SECOND)]);
}

#[test]
fn an_arrangement_that_can_not_be_is_refused_by_name() {
    let mut monitor = unsettled();
    let (sound, never) = (Arrangement::default(), u64::MAX);
    let cases = [
        (Arrangement { on_delay: never, ..sound }, "on_delay"),
        (Arrangement { off_delay: never, ..sound }, "off_delay"),
        (Arrangement { re_alarm_time: never, ..sound }, "re_alarm_time"),
        (Arrangement { longest_shelving: never, ..sound }, "longest_shelving"),
        (Arrangement { axis: 1, ..sound }, "axis"),
        (Arrangement { axis: 9, subject: Subject::Gap, ..sound }, "axis"),
    ];
    for (count, (arrangement, name)) in (1..).zip(cases) {
        let received = monitor.send(&Command::Arrange(arrangement));
        let name_reported = received.iter().find_map(|(_, message)| match message {
            Message::Arranged(arranged) => arranged.refused_name(),
            _ => None,
        });
        assert_eq!((name_reported, refused(&mut monitor)), (Some(name), count));
    }
    // What was in force stays so.
    assert_eq!(arrange(&mut monitor, |arrangement| arrangement.priority = AlarmPriority::Low).refused, None);
    assert_eq!(monitor.app.lamp(), Lamp::Slow);
}

#[test]
fn a_signal_near_its_limit_is_a_warning_and_no_alarm() {
    let mut monitor = Monitor::new(parameters(), 1000);
    let jump =
        |k: u32| Reading { tick: k * 1000, command: 0, feedback: if k < 50 { 0 } else { 1_200_000_000 } };
    let received = monitor.sample((0..100).map(jump));
    assert!(
        received.iter().any(|(_, message)| matches!(message, Message::Finding(_)))
            && alarms(&received).is_empty()
    );
    assert_eq!(monitor.app.lamp(), Lamp::Steady);
}

/// Whether a drift of either kind begins, and whether one ends.
fn drift_changes(received: &[Received]) -> (usize, usize) {
    let drifts = received.iter().filter_map(|(_, message)| match message {
        Message::Drift(drift) => Some(*drift),
        _ => None,
    });
    let (begun, others): (Vec<_>, Vec<_>) = drifts.partition(Drift::is_drift);
    (begun.len(), others.iter().filter(|drift| drift.returned).count())
}

/// A level that truly swings by more than the smallest change: the detector follows every swing, the alarm calls twice.
#[test]
fn a_level_that_swings_calls_a_person_twice() {
    let mut monitor = Monitor::new(Parameters { window: 50, ..parameters() }, 1000);
    let drift = settings::DriftConfig {
        false_alarms_per_axis_month_milli: 1_000_000,
        moves_per_hour: 9000,
        baseline: 200,
        ..settings::DriftConfig::default()
    };
    let parameters = (&Parameters { window: 50, ..parameters() }).into();
    let parameters = settings::Parameters { drift, baseline_minutes: 1, ..parameters };
    monitor.send(&Command::Apply(Apply { axis: 0, parameters }));
    let mut moves = 0;
    let mut run = |monitor: &mut Monitor, count: u32, late: u32| {
        let late: Vec<u32> = (moves..moves + count).map(|number| late + number * 7 % 5).collect();
        moves += count;
        monitor.sample(settling(moves - count, &late))
    };
    assert_eq!(seen(&run(&mut monitor, 800, 40)), []);
    let (mut swings, mut reported) = ((0, 0), vec![]);
    for _ in 0..6 {
        for late in [52, 40] {
            let received = run(&mut monitor, 300, late);
            let (begun, ended) = drift_changes(&received);
            swings = (swings.0 + begun, swings.1 + ended);
            reported.extend(seen(&received));
        }
    }
    let returned = AlarmState::ReturnedToNormalUnacknowledged;
    let twice = [(1, AlarmState::Unacknowledged), (1, returned), (1, AlarmState::Unacknowledged)];
    println!("{swings:?} drifts begun and ended, {reported:?}");
    assert!(swings.0 >= 10 && swings.1 >= 10, "{swings:?}");
    assert_eq!(reported, twice);
    // What a person declares good ends the story.
    let declared = monitor.send(&Command::Declare(Declare { axis: 0, kind: 0, add: false }));
    assert_eq!(seen(&declared), [(1, returned)]);
}
