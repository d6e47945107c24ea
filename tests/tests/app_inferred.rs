//! The monitor on an axis whose command can't be tapped: its records are those that the inference and
//! the core give when nothing is between them.

use stillpoint::command::CommandEncoder;
use stillpoint::decode::{self, Decoder};
use stillpoint::source::rehearsal::axis::Axis as Simulated;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings;
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Axis, Event, Outcome, Parameters, Reading, Record, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::infer::{INFERRED, Inference, Limits};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_tests::monitor::{LINE, Monitor, Received};

const RATE: u32 = 4000;
const PERIOD: u32 = 1_000_000 / RATE;

fn parameters() -> Parameters {
    let window = (0.05 * axes()[0].counts_per_unit.to_f64()) as u32;
    Parameters { window, ..Parameters::at(1_000_000) }
}

/// A shuttle and its true command.
fn tapped(seconds: usize) -> Vec<Reading> {
    let [shuttle, ..] = axes();
    let axis = Simulated::new(shuttle, 3, RATE).expect("an axis");
    axis.take(seconds * RATE as usize).collect()
}

/// The same with a command tap that is dead.
fn readings(seconds: usize) -> Vec<Reading> {
    tapped(seconds).into_iter().map(|reading| Reading { command: 5, ..reading }).collect()
}

fn apply(inferred: bool, window: u32) -> Command {
    let parameters = Parameters { window, ..parameters() };
    let parameters = settings::Parameters { inferred, ..(&parameters).into() };
    Command::Apply(Apply { axis: 0, parameters })
}

fn settings(received: &[Received]) -> Vec<settings::Settings> {
    let settings = |(_, message): &Received| match message {
        Message::Settings(settings) => Some(*settings),
        _ => None,
    };
    received.iter().filter_map(settings).collect()
}

fn moves(received: &[Received]) -> Vec<(Record, bool)> {
    let record = |(_, message): &Received| match message {
        Message::Move(sent) => Some((Record::from(sent), sent.is_inferred())),
        _ => None,
    };
    received.iter().filter_map(record).collect()
}

/// Records that inference and core give for these readings, without a monitor.
fn alone(readings: &[Reading]) -> Vec<Record> {
    let settings = Settings::new(parameters()).expect("valid settings");
    let limits = Limits { still: settings.window / 4, rest: settings.rest_time / PERIOD, period: PERIOD };
    let (mut infer, mut axis, mut records) = (Inference::<LINE>::default(), Axis::new(settings), vec![]);
    let mut since = None;
    let mut collect = |axis: &mut Axis, infer: &Inference<LINE>, since: u64| {
        while let Some(event) = axis.event() {
            let Event::Move(mut record) = event else { continue };
            infer.mark_record(&mut record, settings.window, axis.curve());
            (record.start, record.command_end) = (record.start + since, record.command_end + since);
            records.push(record);
        }
    };
    for reading in readings {
        let Some(delayed) = infer.step(&limits, reading.tick, reading.feedback) else { continue };
        let since = *since.get_or_insert(u64::from(delayed.reading.tick - readings[0].tick));
        if delayed.gap {
            axis.gap();
        }
        axis.step(delayed.reading);
        collect(&mut axis, &infer, since);
    }
    axis.finish();
    collect(&mut axis, &infer, since.unwrap_or(0));
    records
}

#[test]
fn records_equal_those_of_the_inference_alone() {
    let (mut monitor, readings) = (Monitor::new(parameters(), PERIOD), readings(30));
    let answer = settings(&monitor.send(&apply(true, parameters().window)));
    let reported = answer.last().expect("an answer");
    assert!(reported.parameters.inferred && !reported.pending && reported.refused.is_none(), "{reported:?}");
    let mut received = monitor.sample(readings.iter().copied());
    received.extend(monitor.finish());
    let (moves, expected) = (moves(&received), alone(&readings));
    assert!(expected.len() > 40 && expected.iter().any(|record| record.outcome == Outcome::Settled));
    assert!(moves.iter().all(|(record, inferred)| *inferred && record.reasons.has(INFERRED)));
    assert_eq!(moves.iter().map(|(record, _)| *record).collect::<Vec<_>>(), expected);
    assert!(
        !received.iter().any(|(_, message)| matches!(message, Message::Finding(_))),
        "an absent tap has no faults"
    );
}

/// A dead command never moves: the change must not wait for it.
#[test]
fn a_dead_command_is_given_up_while_the_axis_runs() {
    let (mut monitor, readings) = (Monitor::new(parameters(), PERIOD), readings(30));
    let (before, after) = readings.split_at(readings.len() / 2);
    assert_eq!(moves(&monitor.sample(before.iter().copied())), []);
    assert!(settings(&monitor.send(&apply(true, parameters().window)))[0].pending);
    let received = monitor.sample(after.iter().copied());
    let in_force = settings(&received);
    assert!(in_force.len() == 1 && !in_force[0].pending && in_force[0].parameters.inferred, "{in_force:?}");
    let moves = moves(&received);
    assert!(moves.len() > 20 && moves.iter().all(|(_, inferred)| *inferred), "{} moves", moves.len());
    let ends = after[0].tick as u64..=after[after.len() - 1].tick as u64;
    let placed = moves.iter().all(|(record, _)| ends.contains(&record.command_end));
    assert!(placed, "instants count from the first reading of all");
}

#[test]
fn other_settings_and_a_command_that_returns_take_effect() {
    let (mut monitor, readings) = (Monitor::new(parameters(), PERIOD), readings(30));
    let mut received = monitor.send(&apply(true, parameters().window));
    let mut parts = readings.chunks(readings.len() / 3);
    let mut next = || parts.next().expect("a part").iter().copied();
    received.extend(monitor.sample(next()));
    received.extend(monitor.send(&apply(true, 77)));
    received.extend(monitor.sample(next()));
    received.extend(monitor.send(&apply(false, 77)));
    // The command is here again.
    received.extend(monitor.sample(tapped(30).split_off(2 * readings.len() / 3)));
    let reported = settings(&received);
    let seen = |one: &settings::Settings| (one.parameters.inferred, one.parameters.window, one.pending);
    let window = parameters().window;
    let pairs =
        [(true, window, false), (true, 77, true), (true, 77, false), (false, 77, true), (false, 77, false)];
    assert_eq!(reported.iter().map(seen).collect::<Vec<_>>()[1..], pairs, "the first is the hello's");
    let numbers: Vec<u32> = moves(&received).iter().map(|(record, _)| record.number).collect();
    assert_eq!(numbers, (1..=numbers.len() as u32).collect::<Vec<_>>(), "numbers go on");
    assert!(moves(&received).last().is_some_and(|(_, inferred)| !inferred), "{:?}", moves(&received).last());
}

/// Settings reported by a monitor with a delay line of this length: as it starts on this flash, and after a command to
/// infer if `apply_inferred`. Each as whether it infers, and which field it refuses.
fn started<const LINE: usize>(flash: &mut [u8], apply_inferred: bool) -> Vec<(bool, Option<&'static str>)> {
    let identity = Identity { device: [0; 12], board: "test", reset: Reset::PowerOn, period: PERIOD };
    let settings = [Settings::new(parameters()).expect("valid settings")];
    let mut app: App<1, _, LINE> =
        App::new(identity, settings, MemoryFlash::with_content(flash)).expect("the flash opens");
    if apply_inferred {
        app.receive(&CommandEncoder::new(1).encode(&apply(true, 77)));
    }
    let (mut bytes, mut reported) = ([0; 4096], vec![]);
    let count = app.transmit(&mut bytes);
    Decoder::default().push(&bytes[..count], &mut |event| {
        if let decode::DeviceEvent::Settings(settings) = event {
            reported.push((settings.parameters.inferred, settings.refused_name()));
        }
    });
    reported
}

#[test]
fn a_board_without_a_line_refuses() {
    let mut flash = vec![0xFF; 1 << 16];
    assert_eq!(started::<0>(&mut flash, true), [(false, None), (false, Some("inferred"))]);
}

#[test]
fn it_outlives_a_restart() {
    let mut flash = vec![0xFF; 1 << 16];
    assert_eq!(started::<LINE>(&mut flash, true), [(false, None), (true, None)]);
    assert_eq!(started::<LINE>(&mut flash, false), [(true, None)]);
    assert_eq!(started::<0>(&mut flash, false), [(false, None)], "without a line as the board is made");
}
