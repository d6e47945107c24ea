//! The life of an alarm from end to end, and what the lamp shows of it.

use stillpoint::source::rehearsal::axis::Axis;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::sample::Reading;
use stillpoint_core::settings::Parameters;
use stillpoint_core::wire::command::{Acknowledge, Apply, Command};
use stillpoint_core::wire::finding::Which;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings;
use stillpoint_core::wire::watch::{Alarm, AlarmState, Subject};
use stillpoint_firmware::lamp::Lamp;
use stillpoint_tests::monitor::{Monitor, Said};

const RATE: u32 = 4000;
const PERIOD: u32 = 1_000_000 / RATE;

fn parameters() -> Parameters {
    Parameters { window: 900, ..Parameters::default() }
}

fn readings(seconds: usize) -> Vec<Reading> {
    let [shuttle, ..] = axes();
    Axis::new(shuttle, 7, RATE).expect("an axis").take(seconds * RATE as usize).collect()
}

fn alarms(said: &[Said]) -> Vec<Alarm> {
    let alarm = |(header, message): &Said| match message {
        Message::Alarm(alarm) => Some(*alarm).filter(|_| header.priority == Priority::Alarm),
        _ => None,
    };
    said.iter().filter_map(alarm).collect()
}

fn seen(said: &[Said]) -> Vec<(u32, AlarmState)> {
    alarms(said).iter().map(|alarm| (alarm.alarm, alarm.state)).collect()
}

fn acknowledge(alarm: u32) -> Command {
    Command::Acknowledge(Acknowledge { alarm })
}

fn refused(monitor: &mut Monitor) -> u32 {
    monitor.app.tell_status(0);
    let refused = |(_, message): &Said| match message {
        Message::Status(status) => Some(status.refused_commands),
        _ => None,
    };
    monitor.said().iter().find_map(refused).expect("a status")
}

/// So many moves of one second; feedback stays this far from its target. Unit of `off`: counts
fn stops(from: u32, off: &[i32]) -> Vec<Reading> {
    let reading = |sample: u32| {
        let (number, part) = (sample / 1000, (sample % 1000).min(200) as i32);
        let way = part * 100;
        let command = if (from + number).is_multiple_of(2) { way } else { 20_000 - way };
        // The rest before ends with the sample at which the command still stands.
        let place = sample.saturating_sub(1) / 1000;
        let feedback = command + off.get(place as usize).copied().unwrap_or(0);
        Reading { tick: (from * 1000 + sample) * 1000, command, feedback }
    };
    (0..off.len() as u32 * 1000).map(reading).collect()
}

#[test]
fn three_stops_that_did_not_settle_are_an_alarm_until_one_does() {
    let mut monitor = Monitor::new(Parameters { window: 50, ..parameters() }, 1000);
    // A stop is judged as the next move begins.
    assert_eq!(seen(&monitor.take(stops(0, &[0, 400, 400, 0, 400, 400]))), []);
    assert_eq!(monitor.app.lamp(), Lamp::Off);
    let said = monitor.take(stops(6, &[400, 400, 400]));
    let [alarm] = alarms(&said)[..] else { panic!("{:?}", alarms(&said)) };
    assert_eq!((alarm.alarm, alarm.axis, alarm.subject), (1, 0, Subject::Unsettled));
    assert_eq!((alarm.number, alarm.value, alarm.limit), (7, 3, 3));
    assert_eq!(monitor.app.lamp(), Lamp::Fast);
    assert_eq!(seen(&monitor.ask(&acknowledge(1))), [(1, AlarmState::Acknowledged)]);
    assert_eq!(monitor.app.lamp(), Lamp::Steady);
    assert_eq!(seen(&monitor.take(stops(9, &[0, 0]))), [(1, AlarmState::Normal)]);
    assert_eq!((monitor.app.lamp(), refused(&mut monitor)), (Lamp::Off, 0));
    let said = monitor.take(stops(11, &[400, 400, 400, 0, 0]));
    let returned = AlarmState::ReturnedToNormalUnacknowledged;
    assert_eq!(seen(&said), [(2, AlarmState::Unacknowledged), (2, returned)]);
    assert_eq!(monitor.app.lamp(), Lamp::Slow);
    assert_eq!(seen(&monitor.ask(&acknowledge(1))), []);
    assert_eq!(refused(&mut monitor), 1, "the first is over");
    assert_eq!(seen(&monitor.ask(&Command::Identify)), [(2, returned)], "who asks is told what is open");
    assert_eq!(seen(&monitor.ask(&acknowledge(2))), [(2, AlarmState::Normal)]);
    assert_eq!((monitor.app.lamp(), refused(&mut monitor)), (Lamp::Off, 1));
}

#[test]
fn a_fault_of_the_signals_is_an_alarm_until_other_settings_are_in_force() {
    let mut monitor = Monitor::new(parameters(), PERIOD);
    let dead: Vec<Reading> =
        readings(20).into_iter().map(|reading| Reading { command: 5, ..reading }).collect();
    let (first, second) = dead.split_at(dead.len() / 2);
    let said = monitor.take(first.iter().copied());
    let [alarm] = alarms(&said)[..] else { panic!("{:?}", alarms(&said)) };
    assert_eq!((alarm.subject, alarm.state), (Subject::Signal, AlarmState::Unacknowledged));
    assert_eq!(alarm.value, Which::CommandDead as i64);
    monitor.ask(&acknowledge(1));
    assert_eq!(monitor.app.lamp(), Lamp::Steady);
    let parameters = settings::Parameters { inferred: true, ..(&parameters()).into() };
    monitor.ask(&Command::Apply(Apply { axis: 0, parameters }));
    let said = monitor.take(second.iter().copied());
    assert_eq!(seen(&said), [(1, AlarmState::Normal)]);
    assert_eq!(monitor.app.lamp(), Lamp::Off);
}

#[test]
fn lost_samples_show_for_two_seconds() {
    let mut monitor = Monitor::new(parameters(), 1000);
    let still = |from: u32, samples: u32| {
        (from..from + samples).map(|k| Reading { tick: k * 1000, command: 0, feedback: 0 })
    };
    monitor.take(still(0, 1000));
    assert_eq!(monitor.app.lamp(), Lamp::Off);
    monitor.take(still(1005, 1990));
    assert_eq!(monitor.app.lamp(), Lamp::Slow);
    monitor.take(still(2995, 100));
    assert_eq!((monitor.app.lamp(), monitor.app.is_lit()), (Lamp::Off, false));
}

#[test]
fn a_signal_near_its_limit_is_a_warning_and_no_alarm() {
    let mut monitor = Monitor::new(parameters(), 1000);
    let jump =
        |k: u32| Reading { tick: k * 1000, command: 0, feedback: if k < 50 { 0 } else { 1_200_000_000 } };
    let said = monitor.take((0..100).map(jump));
    assert!(said.iter().any(|(_, said)| matches!(said, Message::Finding(_))) && alarms(&said).is_empty());
    assert_eq!(monitor.app.lamp(), Lamp::Steady);
}
