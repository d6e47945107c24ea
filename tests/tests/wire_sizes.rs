//! In: records, curves and samples of an axis. Out: the same through frames, bit for bit and in few bytes.

use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame::{Payload as _, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::trace::Trace;
use stillpoint_core::wire::{LONGEST_FRAME, LONGEST_PIECE};
use stillpoint_core::{CurvePoint, Parameters, Reading, Record};
use stillpoint_tests::run::{run, steady};

/// Unit: ticks
const PERIOD: u32 = 100;
/// 4 axes × 2 moves/s, which the log must hold for so many hours.
const MOVES_OF_AN_HOUR: f64 = 28_800.0;
const HOURS: f64 = 6.0;
/// Of an entry beside the frame's body, less the frame's own delimiters; see the head of `firmware/src/log.rs`.
const ENTRY: f64 = 6.6;
/// Unit: bytes
const LOG: f64 = 16.0 * 1024.0 * 1024.0;

/// Invented: a 24-bit encoder at 10 kHz, one revolution there and back, ringing stops of all strengths.
fn readings() -> Vec<Reading> {
    let signals = (0..200_000_u32).map(|k| {
        let (number, since) = (k / 5000, f64::from(k % 5000));
        let part = (since / 2000.0).min(1.0);
        let part_travelled = part * part * part * (10.0 - 15.0 * part + 6.0 * part * part);
        let command = 16_777_216.0 * if number % 2 == 0 { part_travelled } else { 1.0 - part_travelled };
        let ringing = 3000.0 * f64::from(number) * (-(since - 2000.0) / 300.0).exp() * (since / 60.0).cos();
        let noise = f64::from(k.wrapping_mul(2_654_435_761) >> 30);
        (command as i32, (command + if part < 1.0 { 0.0 } else { ringing } + noise) as i32)
    });
    // The time stamps of a shift's seventh hour.
    let late = |reading: Reading| Reading { tick: reading.tick.wrapping_add(3_700_000_000), ..reading };
    steady(PERIOD, signals).map(late).collect()
}

/// Bytes of a frame with a number of the seventh hour. Unit: bytes
fn size(message: &Message) -> usize {
    let mut header = Numbers::new(Direction::FromDevice, 0x0002_0B57).next_header(message.priority());
    header.sequence = 200_000;
    encode::<SmallTable>(&header, message, &mut [0; LONGEST_FRAME]).expect("fits a frame").len()
}

#[test]
fn records_curves_and_samples_of_an_axis_come_back_bit_for_bit() {
    let readings = readings();
    let parameters = Parameters { window: 2796, ..Parameters::at(1_000_000) };
    let moves = run(parameters, readings.iter().copied()).moves;
    assert_eq!(moves.len(), 40);
    let (mut move_bytes, mut curve_bytes, mut curve_frames, mut points) = (0, 0, 0, 0);
    for measured in &moves {
        let record =
            Record { start: measured.record.start + 25_000_000_000, number: 50_000, ..measured.record };
        let record = Record { command_end: measured.record.command_end + 25_000_000_000, ..record };
        let sent = Move::new(1, false, &record);
        assert_eq!(Record::from(&sent), record);
        move_bytes += size(&Message::Move(sent));
        let mut remaining = measured.curve.iter().copied().peekable();
        let mut found: Vec<CurvePoint> = vec![];
        let mut buffer = [0; LONGEST_PIECE];
        while let Some(curve) = Curve::pack((1, 50_000, found.len() as u16), &mut remaining, &mut buffer) {
            found.extend(curve.points());
            curve_bytes += size(&Message::Curve(curve));
            curve_frames += 1;
        }
        assert_eq!(found, measured.curve);
        points += found.len();
    }
    assert_eq!(curve_frames, moves.len(), "a curve of an axis follows the law of windows: one frame");
    let mean = move_bytes as f64 / moves.len() as f64;
    let curve_mean = curve_bytes as f64 / moves.len() as f64;
    println!("a move: {mean:.1} bytes; its curve: {curve_mean:.1} bytes, {} points", points / moves.len());
    let hours = LOG / (mean + ENTRY) / MOVES_OF_AN_HOUR;
    println!("16 MiB hold the moves of {hours:.1} h");
    assert!(hours > HOURS, "the log holds the moves of {hours:.1} h");
}

#[test]
fn samples_around_a_stop_need_little_more_than_a_byte() {
    let readings = readings();
    let stop = &readings[198_000..200_000];
    let mut remaining = stop.iter().copied().peekable();
    let (mut found, mut bytes): (Vec<Reading>, usize) = (vec![], 0);
    let mut buffer = [0; LONGEST_PIECE];
    while let Some(trace) = Trace::pack((1, 40, found.len() as u32), &mut remaining, &mut buffer) {
        found.extend(trace.readings());
        bytes += size(&Message::Trace(trace));
    }
    assert_eq!(found, stop);
    let each = bytes as f64 / stop.len() as f64;
    println!("a raw sample at rest: {each:.2} bytes, frames and all");
    assert!(each < 2.0);
}
