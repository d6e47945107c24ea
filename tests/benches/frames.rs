//! In: frames of moves in memory. Out: frames per second of the receiver, and beside it of what
//! anyone would put together: the cobs, crc32fast and postcard crates, one frame at a time.
//!
//! The bare one is given the start of each frame; the receiver finds it, and follows numbers
//! and counts besides. Both alternate in one run, so the ratio holds whatever else the machine does.
//! `cargo bench -p stillpoint-tests --bench frames`

use std::hint::black_box;
use std::ops::Range;
use std::time::Instant;

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::counts::Counts;
use stillpoint_core::wire::frame::{Payload as _, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::sequence::Sequence;
use stillpoint_core::{Outcome, Record, Speed};

const FRAMES: u32 = 100_000;
/// Bytes per read of a serial port or a file. Unit: bytes
const CHUNK: usize = 4096;
const TURNS: u32 = 25;

/// A move of a shift: ticks of a microsecond, 24-bit encoder, settling near 30 ms.
fn record(number: u32) -> Record {
    let mixed = number.wrapping_mul(2_654_435_761);
    let settling = 20_000 + (mixed >> 18);
    let start = 500_000 * u64::from(number);
    Record {
        number,
        start,
        command_end: start + 200_000,
        travel: if number.is_multiple_of(2) { 16_777_216 } else { -16_777_216 },
        outcome: Outcome::Settled,
        settling: Some(settling),
        settling_u: 40 + (mixed >> 28),
        settling_95: 80 + (mixed >> 27),
        first_entry: Some(settling - (mixed >> 22)),
        confirmation: Some(settling + 10_000),
        stabilization: Some(mixed >> 22),
        window_entries: 2,
        overshoot: mixed >> 20,
        peak_following_error: 60_000 + (mixed >> 20),
        error_at_command_end: 40_000 - (mixed >> 20) as i32,
        rest_error: Some(i64::from(mixed >> 24)),
        rest_noise_rms: Some(400 + (mixed >> 24)),
        peak_speed: Speed { distance: 300_000 + (mixed >> 20), time: 2_000 },
        held: 300_000,
        ..Record::from(&Move::default())
    }
}

/// All frames after each other, and where each stands.
fn stream() -> (Vec<u8>, Vec<Range<usize>>) {
    let mut numbers = Numbers::new(Direction::FromDevice, 0x5EED_B007);
    let (mut bytes, mut places) = (vec![], vec![]);
    for number in 0..FRAMES {
        let message = Message::Move(Move::new((number % 3) as u8, false, &record(number)));
        let mut buffer = [0; LONGEST_FRAME];
        let header = numbers.next_header(message.priority());
        let frame = encode::<FastCrc>(&header, &message, &mut buffer).expect("a move fits");
        places.push(bytes.len()..bytes.len() + frame.len());
        bytes.extend_from_slice(frame);
    }
    (bytes, places)
}

/// The work on each move, the same for both.
fn use_it(sum: &mut u64, message: &Message) {
    if let Message::Move(sent) = message {
        *sum = sum.wrapping_add(u64::from(sent.settling)).wrapping_add(sent.start);
    }
}

fn receiver(bytes: &[u8]) -> (u64, u64) {
    let mut receiver = Receiver::<FastCrc>::new(Direction::FromDevice);
    let (mut sequence, mut counts, mut sum) = (Sequence::default(), Counts::default(), 0);
    for chunk in bytes.chunks(CHUNK) {
        let mut remaining = chunk;
        while let Some(event) = receiver.step(&mut remaining) {
            match event {
                Event::Frame(frame) => {
                    counts.add_frame(sequence.step(&frame.header));
                    let read = frame.read::<Message>();
                    counts.read(&read);
                    if let Ok(read) = read {
                        use_it(&mut sum, &read.payload);
                    }
                }
                Event::Echo(_) => counts.echo(),
                Event::Corrupt(corrupt) => counts.corrupt(corrupt),
            }
        }
    }
    assert_eq!(counts, Counts { frames: u64::from(FRAMES), ..Counts::default() });
    (counts.frames, sum)
}

fn bare(bytes: &[u8], places: &[Range<usize>]) -> (u64, u64) {
    let (mut frames, mut sum) = (0, 0);
    let mut body = [0; LONGEST_FRAME];
    for place in places {
        let encoded = &bytes[place.start..place.end - 1];
        let length = cobs::decode(encoded, &mut body).expect("framed").frame_size();
        let (content, crc) = body[..length].split_last_chunk::<4>().expect("long enough");
        assert_eq!(crc32fast::hash(content), u32::from_le_bytes(*crc));
        let ((_mark, _boot, _sequence, message), _rest): ((u8, [u8; 4], u32, Message), _) =
            postcard::take_from_bytes(content).expect("a move");
        use_it(&mut sum, &message);
        frames += 1;
    }
    (frames, sum)
}

fn main() {
    let (bytes, places) = stream();
    let rate = |work: &dyn Fn() -> (u64, u64)| {
        let start = Instant::now();
        let found = black_box(work());
        (f64::from(FRAMES) / start.elapsed().as_secs_f64() / 1e6, found)
    };
    let (mut best_receiver, mut best_bare) = (0.0_f64, 0.0_f64);
    for _ in 0..TURNS {
        let (ours, found) = rate(&|| receiver(black_box(&bytes)));
        let (theirs, expected) = rate(&|| bare(black_box(&bytes), &places));
        assert_eq!(found, expected, "both read the same moves");
        best_receiver = best_receiver.max(ours);
        best_bare = best_bare.max(theirs);
    }
    let size = bytes.len() as f64 / f64::from(FRAMES);
    println!("{FRAMES} frames of moves, {size:.1} bytes each on the wire; best of {TURNS} turns");
    println!("receiver                   {best_receiver:6.2} million frames/s");
    println!("bare postcard+cobs+crc32fast {best_bare:4.2} million frames/s");
    println!("receiver / bare = {:.2} (bar 0.8)", best_receiver / best_bare);
}
