//! The same firmware on an emulated Cortex-M4F and on this machine: the same frames for the same samples.

use std::collections::BTreeMap;

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::frame::{Frame, Read};
use stillpoint_core::wire::header::{Direction, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::ringing::Ringing;
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Parameters, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;
use stillpoint_firmware::sampler::Raw;
use stillpoint_firmware::tap::Register;
use stillpoint_tests::emulator::{Emulator, image};
use stillpoint_tests::rounds::rounds;

const AXES: usize = 4;
/// 20 moves a second at 1000 samples a second.
const SAMPLES_PER_MOVE: u32 = 50;

/// Four axes that move and stop, never two in step; stops ring, with noise and now and then a late one. On the
/// last one some miss the window altogether: an alarm, and evidence.
fn samples(moves: u64) -> Vec<(u32, [(i32, i32); AXES])> {
    let mut noise = 1_u32;
    let mut next = move || {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        noise >> 16
    };
    (0..moves as u32 * SAMPLES_PER_MOVE)
        .map(|k| {
            let pairs = core::array::from_fn(|axis| {
                let at = k + axis as u32 * 13;
                let (number, step) = (at / SAMPLES_PER_MOVE, at % SAMPLES_PER_MOVE);
                let part = i64::from(step.min(15));
                let travelled = 400_000 * part * part * (45 - 2 * part) / 3375;
                let command = if number % 2 == 0 { travelled } else { 400_000 - travelled } as i32;
                let since = step.saturating_sub(15) as i32;
                let size = if number % 97 == 5 { 24_000 } else { 6_000 };
                let ringing =
                    if step < 15 { 900 } else { (size >> (since / 3).min(20)) * (since % 6 - 3) / 3 };
                let off = if axis == AXES - 1 && (200..210).contains(&number) { 5_000 } else { 0 };
                (command, command - ringing + off + (next() % 64) as i32 - 32)
            });
            (k.wrapping_mul(10_000), pairs)
        })
        .collect()
}

fn bytes(samples: &[(u32, [(i32, i32); AXES])]) -> Vec<u8> {
    let mut bytes = vec![];
    for (tick, pairs) in samples {
        bytes.push(1);
        bytes.extend(tick.to_le_bytes());
        pairs.iter().for_each(|pair| {
            bytes.extend(pair.0.to_le_bytes());
            bytes.extend(pair.1.to_le_bytes());
        });
    }
    bytes.push(2);
    bytes
}

/// The same firmware, here.
fn here(samples: &[(u32, [(i32, i32); AXES])], finds_ringing: bool) -> Vec<u8> {
    let parameters = Parameters { window: 1000, ..Parameters::at(10_000_000) };
    let settings = Settings::new(parameters).expect("valid settings");
    let identity =
        Identity { device: *b"emulated\0\0\0\0", board: "emulated", reset: Reset::PowerOn, period: 10_000 };
    let flash = MemoryFlash::new(vec![0; 1 << 20]);
    let mut app: App<AXES, _> = App::new(identity, [settings; AXES], flash).expect("the flash opens");
    app.set_finds_ringing(finds_ringing);
    let (mut line, mut room) = (vec![], [0; 4096]);
    let mut transmit = |app: &mut App<AXES, _>| loop {
        let count = app.transmit(&mut room);
        line.extend(&room[..count]);
        if count == 0 {
            break;
        }
    };
    for (tick, pairs) in samples {
        let word = |position: i32| Register::Whole(position as u32);
        app.sample(*tick, &pairs.map(|pair| Raw { command: word(pair.0), feedback: word(pair.1) }));
        while finds_ringing && app.is_busy() {
            app.idle();
        }
        transmit(&mut app);
    }
    app.finish();
    transmit(&mut app);
    line
}

/// Every frame by priority and number, its bytes as they are.
fn frames(bytes: &[u8]) -> BTreeMap<(Priority, u32), Vec<u8>> {
    let mut receiver = Receiver::<FastCrc>::new(Direction::FromDevice);
    let (mut remaining, mut frames) = (bytes, BTreeMap::new());
    while let Some(event) = receiver.step(&mut remaining) {
        let Event::Frame(frame) = event else { panic!("{event:?}") };
        let key = (frame.header.priority, frame.header.sequence);
        assert!(frames.insert(key, frame.body().to_vec()).is_none(), "{key:?} came twice");
    }
    frames
}

#[test]
fn emulator_and_host_report_the_same_to_the_last_bit() {
    let Some(image) = image("monitor") else { return };
    let samples = samples(rounds(1700));
    let there = frames(&Emulator::start(&image).run(bytes(&samples)));
    let here = frames(&here(&samples, false));
    let moves = there.keys().filter(|key| key.0 == Priority::Move).count();
    let most = rounds(1700) as usize * AXES;
    assert!(moves * 100 > most * 96, "{moves} frames of moves, {most} at most");
    assert!(there.keys().filter(|key| key.0 == Priority::Alarm).count() > 2, "an alarm is raised and clears");
    for priority in [Priority::Alarm, Priority::Move, Priority::Curve] {
        let of = |frames: &BTreeMap<(Priority, u32), Vec<u8>>| {
            frames
                .iter()
                .filter(|(key, _)| key.0 == priority)
                .map(|(key, body)| (*key, body.clone()))
                .collect::<Vec<_>>()
        };
        let (there, here) = (of(&there), of(&here));
        let numbers: Vec<u32> = there.iter().map(|(key, _)| key.1).collect();
        assert_eq!(numbers, (0..numbers.len() as u32).collect::<Vec<_>>(), "{priority:?}: none is lost");
        assert!(there == here, "{priority:?}: {} and {} frames differ", there.len(), here.len());
        println!("ran emulator: {} frames of priority {priority:?} are the same bytes", there.len());
    }
}

/// What is said of the ringing of each stop that was evaluated, to the last bit.
fn ringing(frames: &BTreeMap<(Priority, u32), Vec<u8>>) -> BTreeMap<(u8, u32), (u8, [u32; 6])> {
    let found = frames.values().filter_map(|body| {
        let frame = Frame::check::<FastCrc>(body).expect("sealed");
        let Ok(Read { payload: Message::Ringing(found), .. }) = frame.read::<Message>() else { return None };
        let Ringing { frequency, frequency_u, damping, damping_u, tail, amplitude, .. } = found;
        let bits = [frequency, frequency_u, damping, damping_u, tail, amplitude].map(f32::to_bits);
        (found.refusal != Ringing::NOT_EVALUATED)
            .then_some(((found.axis, found.number), (found.refusal, bits)))
    });
    found.collect()
}

/// How many stops are evaluated depends on the time there is; what is found in them does not.
#[test]
fn emulator_and_host_find_the_same_ringing_to_the_last_bit() {
    let Some(image) = image("monitor") else { return };
    let samples = samples(rounds(60));
    let sent = [&[3], bytes(&samples).as_slice()].concat();
    let there = ringing(&frames(&Emulator::start(&image).run(sent)));
    let here = ringing(&frames(&here(&samples, true)));
    let both: Vec<_> =
        there.iter().filter_map(|(stop, found)| Some((stop, found, here.get(stop)?))).collect();
    both.iter().for_each(|(stop, there, here)| assert_eq!(there, here, "{stop:?}"));
    let stated = both.iter().filter(|(_, found, _)| found.0 == 0).count();
    println!("ran the emulator: {} stops evaluated as here, ringing stated in {stated}", both.len());
    assert!(both.len() > 20 && stated > 5, "{} stops, {stated} ring", both.len());
}
