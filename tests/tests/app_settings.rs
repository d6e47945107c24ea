//! Settings applied while a move is under way, or while its rest is still measured: that move is wholly
//! measured by the old ones, the next wholly by the new.

use stillpoint::source::rehearsal::axis::Axis;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::{self, Limits, Settings};
use stillpoint_core::{Parameters, Reading, Record};
use stillpoint_tests::monitor::{Monitor, Received};
use stillpoint_tests::run::run;

const RATE: u32 = 4000;
const OLD: u32 = 900;
const NEW: u32 = 90;

fn parameters(window: u32) -> Parameters {
    Parameters { window, ..Parameters::at(1_000_000) }
}

fn apply(parameters: Parameters) -> Command {
    Command::Apply(Apply { axis: 0, parameters: (&parameters).into() })
}

fn readings() -> Vec<Reading> {
    let [shuttle, ..] = axes();
    Axis::new(shuttle, 7, RATE).expect("an axis").take(20 * RATE as usize).collect()
}

fn records(received: &[Received]) -> Vec<Record> {
    let record = |(_, message): &Received| match message {
        Message::Move(sent) => Some(Record::from(sent)),
        _ => None,
    };
    received.iter().filter_map(record).collect()
}

fn settings(received: &[Received]) -> Vec<Settings> {
    let settings = |(_, message): &Received| match message {
        Message::Settings(settings) => Some(*settings),
        _ => None,
    };
    received.iter().filter_map(settings).collect()
}

/// All records when other settings are applied at this reading, and the settings the monitor reported.
fn applied_at(at: usize, other: Parameters) -> (Vec<Record>, Vec<Settings>) {
    let (readings, mut monitor) = (readings(), Monitor::new(parameters(OLD), 1_000_000 / RATE));
    let mut received = monitor.sample(readings[..at].iter().copied());
    received.extend(monitor.send(&apply(other)));
    received.extend(monitor.sample(readings[at..].iter().copied()));
    received.extend(monitor.finish());
    (records(&received), settings(&received))
}

/// The tenth move is measured by the old settings, the eleventh by the new ones.
#[track_caller]
fn check(at: impl Fn(&Record) -> u64) {
    let readings = readings();
    let records_with = |window| -> Vec<Record> {
        run(parameters(window), readings.iter().copied())
            .moves
            .into_iter()
            .map(|measured| measured.record)
            .collect()
    };
    let (old, new) = (records_with(OLD), records_with(NEW));
    assert_eq!(old.len(), new.len());
    let differ = old.iter().zip(&new).filter(|(old, new)| old.settling != new.settling).count();
    assert!(
        differ > old.len() / 2,
        "the two windows give different settling times: {differ} of {}",
        old.len()
    );
    let period = u64::from(1_000_000 / RATE);
    let (records, settings) = applied_at((at(&old[9]) / period) as usize, parameters(NEW));
    assert_eq!(records[..10], old[..10]);
    assert_eq!(records[10..], new[10..]);
    let seen: Vec<_> =
        settings.iter().map(|reported| (reported.parameters.window, reported.pending)).collect();
    assert_eq!(seen, [(OLD, false), (NEW, true), (NEW, false)]);
}

#[test]
fn a_move_is_measured_by_one_setting() {
    // Just begun, halfway, at the command end, in the rest, and at its very end.
    check(|tenth| tenth.start + 500);
    check(|tenth| (tenth.start + tenth.command_end) / 2);
    check(|tenth| tenth.command_end);
    check(|tenth| tenth.command_end + tenth.held / 2);
    check(|tenth| tenth.command_end + tenth.held);
}

#[test]
fn the_last_of_several_counts_and_the_old_can_be_restored() {
    let (readings, mut monitor) = (readings(), Monitor::new(parameters(OLD), 1_000_000 / RATE));
    monitor.sample(readings[..9000].iter().copied());
    for (window, pending) in [(5, true), (NEW, true), (OLD, false), (NEW, true)] {
        let reported = settings(&monitor.send(&apply(parameters(window))));
        assert_eq!((reported[0].parameters.window, reported[0].pending), (window, pending));
    }
    let refused = settings(&monitor.send(&apply(Parameters { encoder_step: 0, ..parameters(3) })));
    assert_eq!(refused[0].refused_name(), Some("encoder_step"));
    assert_eq!((refused[0].parameters.window, refused[0].pending), (NEW, true), "what was accepted stays so");
    assert_eq!(settings(&monitor.sample(readings[9000..].iter().copied()))[0].parameters.window, NEW);
}

/// Another scale begins the axis anew: numbers and instants go on, the first move is reported as joined late.
#[test]
fn another_scale_starts_from_where_the_axis_stands() {
    let (records, _) = applied_at(40_000, Parameters { command_scale: (-1, 1), ..parameters(OLD) });
    let old = run(parameters(OLD), readings()).moves;
    assert_eq!(records.len(), old.len());
    for (record, old) in records.iter().zip(&old) {
        let old = &old.record;
        assert_eq!(
            (record.number, record.start, record.command_end),
            (old.number, old.start, old.command_end)
        );
        assert!(record.travel == old.travel || record.travel == -old.travel);
    }
    assert!(records.iter().any(|record| record.travel == -old[record.number as usize - 1].record.travel));
}

/// Limits of a person are in force with the next move, refused by name, and leave baselines alone.
#[test]
fn limits_are_carried_and_restart_nothing() {
    let (readings, mut monitor) = (readings(), Monitor::new(parameters(OLD), 1_000_000 / RATE));
    monitor.sample(readings[..20_000].iter().copied());
    let limits = Limits { settling: 40_000, settling_permille: 50, unsettled_permille: 10, kind: 1 };
    let apply = |sent: settings::Parameters| Command::Apply(Apply { axis: 0, parameters: sent });
    let with = |limits| settings::Parameters { limits, ..(&parameters(OLD)).into() };
    let answer = settings(&monitor.send(&apply(with(limits))));
    assert_eq!((answer[0].parameters.limits, answer[0].pending), (limits, true));
    let received = monitor.sample(readings[20_000..40_000].iter().copied());
    let in_force = settings(&received);
    assert_eq!((in_force[0].parameters.limits, in_force[0].pending), (limits, false));
    assert_eq!(in_force[0].parameters.baseline_minutes, 1440, "the default by its value");
    let restarts = |received: &[Received]| {
        received.iter().filter(|(_, message)| matches!(message, Message::Restart(_))).count()
    };
    assert_eq!(restarts(&received), 0);
    for (broken, name) in [
        (Limits { settling_permille: 1000, ..limits }, "settling_limit_permille"),
        (Limits { unsettled_permille: 1000, ..limits }, "unsettled_limit_permille"),
    ] {
        let refused = settings(&monitor.send(&apply(with(broken))))[0];
        assert_eq!((refused.refused_name(), refused.parameters.limits), (Some(name), limits));
    }
    // Any other setting begins the baselines anew.
    monitor.send(&apply(settings::Parameters { baseline_minutes: 60, ..with(limits) }));
    assert_eq!(restarts(&monitor.sample(readings[40_000..60_000].iter().copied())), 1);
}
