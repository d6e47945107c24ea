//! Signal health in the monitor: a fault of an axis of the invented transplanter is reported once, on the wire,
//! with its remedy; and again once other settings are in force, if the fault persists.

use stillpoint::decode::{Decoder, DeviceEvent};
use stillpoint::source::rehearsal::axis::Axis;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::finding::{Finding, Severity, Which};
use stillpoint_core::wire::message::Message;
use stillpoint_core::{Parameters, Reading};
use stillpoint_tests::monitor::{self, Monitor};

const RATE: u32 = 4000;

fn readings(seconds: usize) -> Vec<Reading> {
    let [shuttle, ..] = axes();
    Axis::new(shuttle, 7, RATE).expect("an axis").take(seconds * RATE as usize).collect()
}

fn parameters() -> Parameters {
    let window = (0.05 * axes()[0].counts_per_unit.to_f64()) as u32;
    Parameters { window, ..Parameters::at(1_000_000) }
}

fn findings(received: &[monitor::Received]) -> Vec<Finding> {
    let finding = |(_, message): &monitor::Received| match message {
        Message::Finding(finding) => Some(*finding),
        _ => None,
    };
    received.iter().filter_map(finding).collect()
}

/// The fields of a finding that a test compares.
type Reported = (Which, Severity, Option<(i32, i32)>);

#[track_caller]
fn check(change: impl Fn(Reading) -> Reading, expected: &[Reported]) {
    let mut monitor = Monitor::new(parameters(), 1_000_000 / RATE);
    let found = findings(&monitor.sample(readings(10).into_iter().map(change)));
    let reported: Vec<_> = found.iter().map(|found| (found.which, found.severity, found.proposed)).collect();
    assert_eq!(reported, expected);
    assert!(found.iter().all(|found| found.axis == 0 && found.at > 0 && found.at < 10_000_000));
}

#[test]
fn a_fault_of_the_signals_is_reported_once() {
    check(|reading| reading, &[]);
    check(|reading| Reading { command: 5, ..reading }, &[(Which::CommandDead, Severity::Fault, None)]);
    check(|reading| Reading { feedback: 5, ..reading }, &[(Which::FeedbackMissing, Severity::Fault, None)]);
    let finer = |reading: Reading| Reading { command: reading.command * 4, ..reading };
    check(finer, &[(Which::WrongRatio, Severity::Fault, Some((1, 4)))]);
}

#[test]
fn illegal_transitions_come_from_the_tap() {
    let mut monitor = Monitor::new(parameters(), 1_000_000 / RATE);
    assert_eq!(findings(&monitor.sample(readings(1))), []);
    monitor.app.set_illegal_transitions(0, 9);
    let more = readings(2).split_off(RATE as usize);
    let found = findings(&monitor.sample(more));
    assert_eq!(
        found.iter().map(|found| (found.which, found.figure)).collect::<Vec<_>>(),
        [(Which::IllegalTransitions, 9)]
    );
}

/// The proposed scale, once applied, is right: nothing more is found, and moves settle.
#[test]
fn a_proposed_ratio_puts_it_right() {
    let finer = |reading: Reading| Reading { command: reading.command * 4, ..reading };
    let all: Vec<Reading> = readings(40).into_iter().map(finer).collect();
    let (first, second) = all.split_at(all.len() / 2);
    let mut monitor = Monitor::new(parameters(), 1_000_000 / RATE);
    let found = findings(&monitor.sample(first.iter().copied()));
    let proposed = found[0].proposed.expect("a ratio");
    let parameters = (&Parameters { command_scale: proposed, ..parameters() }).into();
    monitor.send(&Command::Apply(Apply { axis: 0, parameters }));
    let received = monitor.sample(second.iter().copied());
    assert_eq!(findings(&received), []);
    let settled = received
        .iter()
        .filter(|(_, message)| matches!(message, Message::Move(sent) if sent.settling > 0))
        .count();
    assert!(settled > 20, "{settled} moves settled");
}

#[test]
fn a_host_decodes_a_finding() {
    let mut monitor = Monitor::new(parameters(), 1_000_000 / RATE);
    let (mut decoder, mut found, mut bytes) = (Decoder::default(), vec![], [0; 4096]);
    for reading in readings(10) {
        use stillpoint_firmware::{sampler::Raw, tap::Register};
        let word = |position: i32| Register::Whole(position as u32);
        monitor.app.sample(reading.tick, &[Raw { command: word(5), feedback: word(reading.feedback) }]);
        let count = monitor.app.transmit(&mut bytes);
        decoder.push(&bytes[..count], &mut |event| {
            if let DeviceEvent::Finding(finding) = event {
                found.push(stillpoint_firmware::health::Finding::from(&finding).to_string());
            }
        });
    }
    assert_eq!(found.len(), 1);
    assert!(found[0].contains("feedback moves but the command stands still"), "{found:?}");
}
