//! Raw samples around stops: those a host requested, and the evidence of stops that did not settle.

use stillpoint::source::rehearsal::axis::Axis;
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::wire::LONGEST_BODY;
use stillpoint_core::wire::command::{CaptureNext, Command, DumpSince};
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::encode_body;
use stillpoint_core::wire::header::{Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::{Outcome, Parameters, Reading, Record};
use stillpoint_firmware::capture::{Capture, EvidenceBudget};
use stillpoint_tests::monitor::{Monitor, Received};

const RATE: u32 = 4000;
const PERIOD: u32 = 1_000_000 / RATE;
/// Bytes of the log, and what an entry costs beside its frame. Unit: bytes
const LOG: f64 = 16.0 * 1024.0 * 1024.0 * 4064.0 / 4096.0;
const OVERHEAD: usize = 8;
/// 4 axes × 2 moves/s, which the log must hold for so many hours, with the evidence of a shift of eight.
const MOVES_OF_AN_HOUR: f64 = 28_800.0;
const HOURS: f64 = 7.0;

fn readings(axis: usize, seconds: usize) -> Vec<Reading> {
    let axis = Axis::new(axes()[axis].clone(), 7, RATE).expect("an axis");
    axis.take(seconds * RATE as usize).collect()
}

/// Window of the shuttle; a part of a count is never settled in.
fn parameters(window: u32) -> Parameters {
    Parameters { window, ..Parameters::at(1_000_000) }
}

/// The samples of each stop by the number of the move, and the series in which they came.
fn captured(received: &[Received]) -> Vec<(u32, Priority, Vec<Reading>)> {
    let mut stops: Vec<(u32, Priority, Vec<Reading>)> = vec![];
    let mut whole = true;
    for (header, message) in received {
        let Message::Trace(trace) = message else { continue };
        if trace.first == 0 {
            assert!(whole, "the capture before has its end");
            stops.push((trace.number, header.priority, vec![]));
        }
        let (number, _, readings) = stops.last_mut().expect("a capture begins at its first reading");
        assert_eq!((*number, trace.first as usize), (trace.number, readings.len()));
        assert_eq!(trace.factor, Capture::factor_of(RATE));
        readings.extend(trace.readings());
        whole = trace.last;
    }
    assert!(whole);
    stops
}

fn records(received: &[Received]) -> Vec<Record> {
    let record = |(_, message): &Received| match message {
        Message::Move(sent) => Some(Record::from(sent)),
        _ => None,
    };
    received.iter().filter_map(record).collect()
}

/// The captured readings equal those sampled, from shortly before the command end until the capture is full. The first
/// of the next move may follow, until it is known to be one.
fn check_readings(record: &Record, captured: &[Reading], came: &[Reading]) {
    let end = (record.command_end / u64::from(PERIOD)) as usize;
    let next = end + (record.held / u64::from(PERIOD)) as usize;
    let before = captured.iter().position(|reading| reading.tick == came[end].tick).expect("the command end");
    assert!(before >= 5, "{before} readings before the end");
    for reading in captured {
        assert_eq!(*reading, came[(reading.tick / PERIOD) as usize]);
    }
    let factor = usize::from(Capture::factor_of(RATE));
    let after: Vec<u32> = captured[before + 1..].iter().map(|reading| reading.tick).collect();
    let expected: Vec<u32> =
        came[end + 1..=next].iter().step_by(factor).map(|reading| reading.tick).collect();
    let common = after.len().min(expected.len());
    assert_eq!(after[..common], expected[..common]);
    assert!(after.len() <= expected.len() + 20, "{} of the next move", after.len() - expected.len());
    assert!(
        after.len() >= expected.len() || after.len() * factor * PERIOD as usize > 250_000,
        "a quarter second"
    );
}

#[test]
fn the_next_stops_are_captured_and_no_more() {
    let (came, mut monitor) = (readings(0, 30), Monitor::new(parameters(900), PERIOD));
    let mut received = monitor.sample(came[..20_000].iter().copied());
    assert_eq!(captured(&received), []);
    let known = records(&received).len() as u32;
    received.extend(monitor.send(&Command::CaptureNext(CaptureNext { axis: 0, stops: 3 })));
    received.extend(monitor.sample(came[20_000..].iter().copied()));
    let (captured, records) = (captured(&received), records(&received));
    assert_eq!(captured.iter().map(|stop| stop.0).collect::<Vec<_>>(), [known + 1, known + 2, known + 3]);
    for (number, priority, readings) in &captured {
        assert_eq!(*priority, Priority::Trace);
        check_readings(&records[*number as usize - 1], readings, &came);
    }
}

#[test]
fn none_are_captured_once_they_are_called_off_or_the_axis_is_unknown() {
    let mut monitor = Monitor::new(parameters(900), PERIOD);
    monitor.send(&Command::CaptureNext(CaptureNext { axis: 0, stops: 3 }));
    monitor.send(&Command::CaptureNext(CaptureNext { axis: 0, stops: 0 }));
    monitor.send(&Command::CaptureNext(CaptureNext { axis: 9, stops: 3 }));
    assert_eq!(captured(&monitor.sample(readings(0, 10))), []);
    monitor.app.publish_status(0);
    let answer = monitor.receive();
    assert!(
        matches!(answer[..], [(_, Message::Status(status))] if status.refused_commands == 1),
        "{answer:?}"
    );
}

/// Size of one frame in the log. Unit: bytes
fn stored_size(frame: &Received) -> usize {
    // A number of the seventh hour.
    let header = Header { sequence: 200_000, ..frame.0 };
    let body = encode_body::<SmallTable>(&header, &frame.1, &mut [0; LONGEST_BODY]).map(<[u8]>::len);
    body.expect("it fits") + OVERHEAD
}

/// Evidence is in the log with the moves, and is replayed.
#[test]
fn evidence_of_unsettled_stops_is_stored_within_its_budget() {
    let (came, mut monitor) = (readings(0, 60), Monitor::new(parameters(1), PERIOD));
    let received = monitor.sample(came.iter().copied());
    let (stops, records) = (captured(&received), records(&received));
    let unsettled = records.iter().filter(|record| record.outcome != Outcome::Settled).count();
    assert!(unsettled > 50, "{unsettled} of {}", records.len());
    assert_eq!(stops.len(), usize::from(EvidenceBudget::BURST), "no more than two to spare within a minute");
    for (number, priority, readings) in &stops {
        assert_eq!(*priority, Priority::Move);
        check_readings(&records[*number as usize - 1], readings, &came);
    }
    let curves = |received: &[Received]| -> Vec<Received> {
        let of_moves =
            |frame: &&Received| frame.0.priority == Priority::Move && matches!(frame.1, Message::Curve(_));
        received.iter().filter(of_moves).copied().collect()
    };
    assert!(!curves(&received).is_empty(), "the curve of evidence is stored");
    let mut again = monitor.send(&Command::DumpSince(DumpSince { boot: 1, priority: 1, sequence: 0 }));
    again.extend(monitor.receive());
    assert!(again.iter().all(|(header, _)| header.replay || header.priority == Priority::Curve));
    assert_eq!(captured(&again), stops);
    assert_eq!(curves(&again).len(), curves(&received).len());
}

/// Worst of all three axes, of windows that no stop settles in, beside the moves they belong to.
#[test]
fn hours_of_moves_and_their_evidence_fit_the_log() {
    let (mut moves, mut count, mut worst) = (0, 0.0, 0);
    for axis in 0..3 {
        for window in [1, 20, 900] {
            let received = Monitor::new(parameters(window), PERIOD).sample(readings(axis, 60));
            let mut evidence = 0;
            for frame in &received {
                match frame {
                    (_, Message::Move(_)) => (moves, count) = (moves + stored_size(frame), count + 1.0),
                    (header, Message::Trace(_) | Message::Curve(_)) if header.priority == Priority::Move => {
                        evidence += stored_size(frame)
                    }
                    _ => (),
                }
            }
            worst = worst.max(evidence.div_ceil(usize::from(EvidenceBudget::BURST)));
        }
    }
    let each = 2.0 + 8.0 * 3600.0 / f64::from(EvidenceBudget::INTERVAL);
    let (mean, evidence) = (moves as f64 / count, 4.0 * each * worst as f64);
    println!(
        "a move in the log: {mean:.1} bytes; evidence of a stop: {worst} bytes at most, {evidence:.0} a shift"
    );
    let hours = (LOG - evidence) / mean / MOVES_OF_AN_HOUR;
    println!("evidence {:.1} % of the log; beside it the moves of {hours:.1} h", 100.0 * evidence / LOG);
    assert!(worst > 100 && evidence < 0.02 * LOG);
    assert!(hours > HOURS, "the log holds the moves of {hours:.1} h");
}
