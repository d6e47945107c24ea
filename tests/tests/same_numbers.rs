//! The core on this machine, the monitor as rehearsed, and the emulated Cortex-M4F: one recording and one
//! seed give the same moves and settling curves, byte for byte as they stand on the wire.

use std::collections::BTreeMap;
use std::io::{Read, Write};

use stillpoint::checksum::FastCrc;
use stillpoint::command::CommandEncoder;
use stillpoint::source::rehearsal::monitor::Monitor;
use stillpoint_core::kind::Kinds;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame;
use stillpoint_core::wire::frame::Frame;
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive;
use stillpoint_core::wire::receive::Receiver;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings;
use stillpoint_core::wire::{CURRENT, LONGEST_BODY, LONGEST_PIECE};
use stillpoint_core::{Axis, Event, Parameters, Reading, Settings};
use stillpoint_tests::emulator::{Emulator, image};

/// Axes that the emulated monitor has; the last one stands still here.
const AXES: usize = 4;
const USED: usize = 3;
/// The emulated monitor's sample period. Unit: ticks
const PERIOD: u32 = 10_000;
const TICKS_PER_SECOND: u32 = 10_000_000;
/// Ticks of the rehearsed machine are microseconds. Unit: ticks/µs
const PER_MICROSECOND: u32 = TICKS_PER_SECOND / 1_000_000;

type Row = [Reading; USED];
/// Kind and payload of each frame about a move, axis by axis in the order they came.
type MoveFrames = BTreeMap<u8, Vec<Vec<u8>>>;

/// Adds a frame's kind and payload if it is about a move.
fn add_frame(frames: &mut MoveFrames, frame: &Frame) {
    let axis = match frame.read::<Message>().expect("a payload").payload {
        Message::Move(sent) => sent.axis,
        // Evidence of a stop that did not settle: its curve a second time, among the moves.
        Message::Curve(_) if frame.header.priority == Priority::Move => return,
        Message::Curve(curve) => curve.axis,
        _ => return,
    };
    let content = [&[frame.kind()], frame.payload()].concat();
    frames.entry(axis).or_default().push(content);
}

fn frames(bytes: &[u8]) -> MoveFrames {
    let mut receiver = Receiver::<FastCrc>::new(Direction::FromDevice);
    let (mut remaining, mut frames) = (bytes, MoveFrames::new());
    while let Some(event) = receiver.step(&mut remaining) {
        let receive::Event::Frame(frame) = event else { panic!("{event:?}") };
        add_frame(&mut frames, &frame);
    }
    frames
}

/// The core alone.
fn alone(settings: &[Settings; USED], rows: &[Row]) -> MoveFrames {
    let mut frames = MoveFrames::new();
    for (number, settings) in settings.iter().enumerate() {
        let (mut axis, mut kinds) = (Axis::new(*settings), Kinds::default());
        for row in rows {
            if axis.step(row[number]).event {
                add_events(&mut frames, number as u8, (settings, &mut axis, &mut kinds));
            }
        }
        axis.finish();
        add_events(&mut frames, number as u8, (settings, &mut axis, &mut kinds));
    }
    frames
}

/// Adds the frames of an axis's events since the last call.
fn add_events(
    frames: &mut MoveFrames,
    number: u8,
    (settings, axis, kinds): (&Settings, &mut Axis, &mut Kinds),
) {
    let mut put = |message: &Message| {
        let header = Header { version: CURRENT, ..Header::default() };
        let mut body = [0; LONGEST_BODY];
        let body = frame::encode_body::<FastCrc>(&header, message, &mut body).expect("it fits");
        add_frame(frames, &Frame::check::<FastCrc>(body).expect("a frame"));
    };
    while let Some(event) = axis.event() {
        let Event::Move(record) = event else { continue };
        let kind = kinds.step(settings, &record).map_or(0, |place| place.number);
        put(&Message::Move(Move { kind, ..Move::new(number, false, &record) }));
        let (mut points, mut buffer, mut first) = (axis.curve().peekable(), [0; LONGEST_PIECE], 0);
        while let Some(curve) = Curve::pack((number, record.number, first), &mut points, &mut buffer) {
            first += curve.points().count() as u16;
            put(&Message::Curve(curve));
        }
    }
}

/// The commands that apply these settings to a monitor, as bytes.
fn applied(settings: &[Settings; USED]) -> impl Iterator<Item = Vec<u8>> {
    let mut commands = CommandEncoder::new(1);
    settings.iter().zip(0..).map(move |(set, axis)| {
        let parameters = settings::Settings::new(axis, set, None).parameters;
        commands.encode(&Command::Apply(Apply { axis, parameters }))
    })
}

/// The monitor as rehearsed, with these readings in place of its machine's.
fn rehearsed(settings: &[Settings; USED], rows: &[Row]) -> MoveFrames {
    let (mut monitor, _) = Monitor::new(7, TICKS_PER_SECOND / PERIOD, None).expect("a machine");
    applied(settings).for_each(|bytes| monitor.receive(&bytes));
    let mut line = vec![];
    for row in rows {
        monitor
            .push(&row.map(|reading| Reading { tick: reading.tick / PER_MICROSECOND, ..reading }), &mut line);
    }
    monitor.finish(&mut line);
    frames(&line)
}

/// The emulated Cortex-M4F, set over its line.
fn emulated(settings: &[Settings; USED], rows: &[Row]) -> Option<MoveFrames> {
    let mut emulator = Emulator::start(&image("monitor")?);
    for bytes in applied(settings) {
        emulator.link.write_all(&bytes).expect("a command is sent");
    }
    // Hello and the settings of every axis at its start, then an answer to each command; a zero closes each.
    let (mut came, mut byte) = (vec![], [0]);
    while came.iter().filter(|byte| **byte == 0).count() < 1 + AXES + USED {
        emulator.link.read_exact(&mut byte).expect("an answer");
        came.push(byte[0]);
    }
    let mut bytes = vec![];
    for row in rows {
        bytes.push(1);
        bytes.extend(row[0].tick.to_le_bytes());
        for axis in 0..AXES {
            let (command, feedback) = row.get(axis).map_or((0, 0), |row| (row.command, row.feedback));
            bytes.extend(command.to_le_bytes());
            bytes.extend(feedback.to_le_bytes());
        }
    }
    bytes.push(2);
    came.extend(emulator.run(bytes));
    Some(frames(&came))
}

fn assert_same(what: &str, some: &MoveFrames, others: &MoveFrames) {
    for axis in 0..USED as u8 {
        let (some, others) = (&some[&axis], &others[&axis]);
        assert!(some == others, "{what}, axis {axis}: {} and {} frames differ", some.len(), others.len());
    }
    println!("ran same_numbers: {what}: {} frames alike", some.values().map(Vec::len).sum::<usize>());
}

#[test]
fn one_seed_gives_the_same_bytes_everywhere() {
    let (mut monitor, known) = Monitor::new(7, TICKS_PER_SECOND / PERIOD, Some(0.01)).expect("a machine");
    let settings: Vec<Settings> = known.iter().map(|known| known.settings).collect();
    let settings: [Settings; USED] = settings.try_into().expect("three axes");
    let (mut rows, mut line) = (vec![], vec![]);
    while monitor.seconds() < 20.0 {
        let row = monitor.step(&mut line);
        rows.push(row.map(|reading| Reading { tick: reading.tick.wrapping_mul(PER_MICROSECOND), ..reading }));
    }
    monitor.finish(&mut line);
    let here = alone(&settings, &rows);
    assert!(here.values().all(|axis| axis.len() > 50), "moves and curves on each axis");
    assert_same("seed 7, core and rehearsal", &here, &frames(&line));
    if let Some(there) = emulated(&settings, &rows) {
        assert_same("seed 7, core and Cortex-M4F", &here, &there);
    }
}

/// Command and feedback of a recording of the invented machine. Unit: 1/10000 of its unit
fn recording(name: &str) -> Vec<(i32, i32)> {
    let path = format!("{}/../host/recordings/transplanter_{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).expect("a recording is there");
    let rows = reader.deserialize().map(|row| row.expect("three numbers"));
    rows.map(|(_, command, feedback): (f64, f64, f64)| {
        ((command * 1e4).round() as i32, (feedback * 1e4).round() as i32)
    })
    .collect()
}

#[test]
fn one_recording_gives_the_same_bytes_everywhere() {
    // At the emulated monitor's 1000 samples per second, and as long as the shortest of the three.
    let axes = ["tray_shuttle", "dibble", "gripper_turntable"].map(recording);
    let count = axes.iter().map(Vec::len).min().unwrap_or_default();
    let reading = |k: usize, (command, feedback)| Reading { tick: k as u32 * PERIOD, command, feedback };
    let rows: Vec<Row> =
        (0..count).map(|k| core::array::from_fn(|axis: usize| reading(k, axes[axis][k]))).collect();
    let parameters = Parameters {
        ticks_per_second: TICKS_PER_SECOND,
        window: 500,
        window_time: TICKS_PER_SECOND / 100,
        rest_time: TICKS_PER_SECOND / 50,
        synchronous: true,
        ..Parameters::at(1_000_000)
    };
    let settings = [Settings::new(parameters).expect("settings"); USED];
    let here = alone(&settings, &rows);
    assert!(here.values().all(|axis| axis.len() > 10), "moves and curves on each axis");
    assert_same("recording, core and rehearsal", &here, &rehearsed(&settings, &rows));
    if let Some(there) = emulated(&settings, &rows) {
        assert_same("recording, core and Cortex-M4F", &here, &there);
    }
}
