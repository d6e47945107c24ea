//! What a bad line does: nothing is invented, every loss is counted, and the monitor's log fills it in.

use std::collections::BTreeMap;

use stillpoint::command::CommandEncoder;
use stillpoint::decode::{Decoder, DeviceEvent, MissingFrames};
use stillpoint::source::rehearsal::monitor::Monitor;
use stillpoint_core::Record;
use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::header::Priority;
use stillpoint_tests::chance::Chance;
use stillpoint_tests::rounds::seed;

const RATE: u32 = 4000;

type Moves = BTreeMap<(u8, u32), Record>;

fn monitor() -> Monitor {
    Monitor::new(11, RATE, None).expect("a machine").0
}

/// Runs the monitor for `seconds`; the bytes go to `line` in pieces of one sample.
fn samples(monitor: &mut Monitor, seconds: f64, line: &mut impl FnMut(&[u8])) {
    let (end, mut bytes) = (monitor.seconds() + seconds, vec![]);
    while monitor.seconds() < end {
        monitor.step(&mut bytes);
        line(&bytes);
        bytes.clear();
    }
}

/// Adds a move or a loss; a move may come once only.
fn add(moves: &mut Moves, missing: &mut Vec<MissingFrames>, event: DeviceEvent) {
    match event {
        DeviceEvent::Move(decoded) => {
            let before = moves.insert((decoded.axis, decoded.record.number), decoded.record);
            assert_eq!(before, None, "move {} of axis {} came twice", decoded.record.number, decoded.axis);
        }
        DeviceEvent::Missing(one) => missing.push(one),
        _ => (),
    }
}

/// Moves that arrive over a perfect line.
fn truth(seconds: f64) -> Moves {
    let (mut moves, mut missing, mut decoder) = (Moves::new(), vec![], Decoder::default());
    let mut monitor = monitor();
    samples(&mut monitor, seconds, &mut |bytes| {
        decoder.push(bytes, &mut |event| add(&mut moves, &mut missing, event));
    });
    decoder.finish(&mut |event| add(&mut moves, &mut missing, event));
    assert!(missing.is_empty());
    moves
}

#[test]
fn a_line_cut_for_a_minute_loses_nothing_after_a_dump() {
    let (mut moves, mut missing, mut decoder) = (Moves::new(), vec![], Decoder::default());
    let mut monitor = monitor();
    let mut decode = |bytes: &[u8], moves: &mut Moves, missing: &mut Vec<MissingFrames>| {
        decoder.push(bytes, &mut |event| add(moves, missing, event));
    };
    samples(&mut monitor, 20.0, &mut |bytes| decode(bytes, &mut moves, &mut missing));
    samples(&mut monitor, 60.0, &mut |_| ());
    samples(&mut monitor, 10.0, &mut |bytes| decode(bytes, &mut moves, &mut missing));
    let of_moves =
        missing.iter().copied().find(|one| one.priority == Priority::Move).expect("a loss is reported");
    let known = moves.len();
    assert!(of_moves.count > 100, "{of_moves:?}");
    let dump = DumpSince { boot: of_moves.boot, priority: 1, sequence: of_moves.first };
    monitor.receive(&CommandEncoder::new(1).encode(&Command::DumpSince(dump)));
    samples(&mut monitor, 5.0, &mut |bytes| decode(bytes, &mut moves, &mut missing));
    decoder.finish(&mut |event| add(&mut moves, &mut missing, event));
    assert!(moves.len() >= known + of_moves.count as usize);
    let truth = truth(95.0);
    assert!(moves == truth, "{} moves, {} in truth", moves.len(), truth.len());
    println!(
        "ran a cut of 60 s: {} frames missing, {} moves in the end, none lost",
        of_moves.count,
        moves.len()
    );
}

/// Bytes flipped, dropped and doubled, about one in `rarity`.
fn wound(chance: &mut Chance, bytes: &[u8], rarity: u64) -> Vec<u8> {
    let mut wounded = vec![];
    for &byte in bytes {
        match chance.below(rarity * 3) {
            0 => wounded.push(byte ^ (1 << chance.below(8))),
            1 => (),
            2 => wounded.extend([byte, byte]),
            _ => wounded.push(byte),
        }
    }
    wounded
}

#[test]
fn a_noisy_line_invents_no_move_and_counts_every_loss() {
    let truth = truth(60.0);
    for (number, rarity) in [(1, 300), (2, 3000), (3, 30_000), (4, 1000)] {
        let (mut moves, mut missing, mut decoder) = (Moves::new(), vec![], Decoder::default());
        let (mut chance, mut monitor) = (Chance::new(seed(number)), monitor());
        samples(&mut monitor, 60.0, &mut |bytes| {
            let wounded = wound(&mut chance, bytes, rarity);
            decoder.push(&wounded, &mut |event| add(&mut moves, &mut missing, event));
        });
        decoder.finish(&mut |event| add(&mut moves, &mut missing, event));
        for (key, record) in &moves {
            assert_eq!(truth.get(key), Some(record), "an invented move");
        }
        let lost: u32 =
            missing.iter().filter(|one| one.priority == Priority::Move).map(|one| one.count).sum();
        // Settings are numbered in the same series as moves; what comes after the last frame can't be missed yet.
        let gone = truth.len() - moves.len();
        assert!(lost as usize >= gone.saturating_sub(3), "{lost} counted, {gone} gone");
        assert!(lost as usize <= gone + 3, "{lost} counted, {gone} gone");
        assert!(gone > 0 || rarity > 3000, "the line was not noisy enough to lose a move");
        println!(
            "ran a line with one wound in {rarity} bytes: {gone} of {} moves gone, {lost} counted",
            truth.len()
        );
    }
}
