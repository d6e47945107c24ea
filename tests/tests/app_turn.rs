//! A rotary axis in the monitor: positions that begin anew after each turn give the moves of positions that go on. And
//! samples that the monitor lost are the gaps that a recording without those rows has.

use stillpoint::source::rehearsal::axis::Axis as MachineAxis;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::{Axis, Event, Parameters, Reading, Record, Settings};
use stillpoint_tests::monitor::Monitor;

const RATE: u32 = 4000;
const PERIOD: u32 = 1_000_000 / RATE;

/// Invented: the gripper turntable of the transplanter.
fn readings(seconds: usize) -> Vec<Reading> {
    let [.., turntable] = axes();
    MachineAxis::new(turntable, 7, RATE).expect("an axis").take(seconds * RATE as usize).collect()
}

fn parameters() -> Parameters {
    Parameters { window: 40, ..Parameters::at(1_000_000) }
}

/// The moves a monitor reports; no kind is compared.
fn monitored(parameters: Parameters, readings: impl IntoIterator<Item = Reading>) -> Vec<Record> {
    let mut monitor = Monitor::new(parameters, PERIOD);
    let mut frames = monitor.sample(readings);
    frames.extend(monitor.finish());
    let record = |message: Message| match message {
        Message::Move(sent) => Some(Record::from(&sent)),
        _ => None,
    };
    frames.into_iter().filter_map(|(_, message)| record(message)).collect()
}

/// The moves of the core alone, with a gap before each reading that does not follow the one before.
fn alone(parameters: Parameters, readings: &[Reading]) -> Vec<Record> {
    let mut axis = Axis::new(Settings::new(parameters).expect("settings"));
    let (mut records, mut last) = (vec![], None);
    for reading in readings {
        if last.is_some_and(|last: u32| reading.tick.wrapping_sub(last) > PERIOD) {
            axis.gap();
        }
        last = Some(reading.tick);
        axis.step(*reading);
        records.extend(std::iter::from_fn(|| axis.event()));
    }
    axis.finish();
    records.extend(std::iter::from_fn(|| axis.event()));
    let records = records.into_iter().filter_map(|event| match event {
        Event::Move(record) => Some(record),
        Event::FollowingError(_) => None,
    });
    // As it travels, so that both have the same form.
    records.map(|record| Record::from(&Move::new(0, false, &record))).collect()
}

#[test]
fn positions_that_wrap_give_the_moves_of_positions_that_go_on() {
    let whole = readings(20);
    let span = whole.iter().map(|reading| reading.command).max().zip(whole.iter().map(|r| r.command).min());
    let (most, least) = span.expect("readings");
    let expected = monitored(parameters(), whole.iter().copied());
    assert!(expected.len() > 5);
    // The turn is shorter than the whole way, so that moves cross it.
    let turn = ((most - least) / 3 * 2) as u32;
    for offset in [0, 1, turn as i32 / 3, -7] {
        let wrapped = whole.iter().map(|reading| Reading {
            command: (reading.command + offset).rem_euclid(turn as i32),
            feedback: (reading.feedback + offset).rem_euclid(turn as i32),
            ..*reading
        });
        let found = monitored(Parameters { turn, ..parameters() }, wrapped);
        assert_eq!(found, expected, "turn {turn}, offset {offset}");
    }
}

#[test]
fn lost_samples_are_gaps_as_in_a_recording() {
    let whole = readings(20);
    let command_ends: Vec<usize> = alone(parameters(), &whole)
        .iter()
        .map(|record| (record.command_end / u64::from(PERIOD)) as usize)
        .collect();
    for (after, missing) in [(0, 1), (1, 1), (4, 3), (20, 2), (60, 40), (100, 400), (700, 30)] {
        let lost =
            |k: usize| command_ends.iter().any(|end| (end + after..end + after + missing).contains(&k));
        let remaining: Vec<Reading> =
            whole.iter().enumerate().filter(|(k, _)| !lost(*k)).map(|(_, reading)| *reading).collect();
        assert!(remaining.len() < whole.len());
        let expected = alone(parameters(), &remaining);
        let found = monitored(parameters(), remaining);
        assert!(found == expected, "{missing} samples, {after} after the command end");
    }
}
