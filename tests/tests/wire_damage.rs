//! In: bytes flipped, dropped, doubled, inserted, cut and run together. Out: no invented frame, every loss counted.

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::LONGEST_FRAME;
use stillpoint_core::wire::counts::Counts;
use stillpoint_core::wire::frame::{Payload as _, encode};
use stillpoint_core::wire::header::{Direction, Header, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::sequence::{Continuity, Sequence};
use stillpoint_core::wire::status::Status;
use stillpoint_tests::rounds::{rounds, seed};

/// Small and seeded, so that a failure names its seed.
struct Random(u64);

impl Random {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % limit
    }
}

/// A frame of one of two priorities, as sent.
#[derive(Clone)]
struct Sent {
    header: Header,
    message: Message<'static>,
    bytes: Vec<u8>,
}

fn send(numbers: &mut Numbers, random: &mut Random) -> Sent {
    let message = if random.below(3) == 0 {
        Message::Status(Status { samples: random.below(1 << 30) as u64, ..Default::default() })
    } else {
        let (number, settling) = (random.below(1 << 20) as u32, random.below(1 << 30) as u32);
        Message::Move(Move { number, settling, held: 1 << random.below(60), ..Default::default() })
    };
    let header = numbers.next_header(message.priority());
    let mut buffer = [0; LONGEST_FRAME];
    let bytes = encode::<FastCrc>(&header, &message, &mut buffer).expect("fits").to_vec();
    Sent { header, message, bytes }
}

/// One wound.
fn damage(bytes: &mut Vec<u8>, random: &mut Random) {
    let at = random.below(bytes.len());
    let length = (1 + random.below(20)).min(bytes.len() - at);
    match random.below(7) {
        0 => bytes[at] ^= 1 << random.below(8),
        1 => bytes[at] = random.below(256) as u8,
        2 => drop(bytes.drain(at..at + length)),
        3 => bytes.insert(at, random.below(256) as u8),
        4 => {
            let doubled = bytes[at..at + length].to_vec();
            bytes.splice(at..at, doubled);
        }
        5 => bytes[at..at + length].fill(0),
        _ => bytes[at..at + length].reverse(),
    }
}

/// What a listener decodes from bytes that come in any chunks.
#[derive(Default)]
struct Decoded {
    frames: Vec<(Header, Message<'static>)>,
    counts: Counts,
    new_frames: u64,
}

fn listen(bytes: &[u8], random: &mut Random) -> Decoded {
    let mut decoded = Decoded::default();
    let mut receiver = Receiver::<FastCrc>::new(Direction::FromDevice);
    let mut sequence = Sequence::default();
    let mut rest = bytes;
    while !rest.is_empty() {
        let (chunk, later) = rest.split_at((1 + random.below(200)).min(rest.len()));
        rest = later;
        let mut remaining = chunk;
        while let Some(event) = receiver.step(&mut remaining) {
            match event {
                Event::Frame(frame) => {
                    let place = sequence.step(&frame.header);
                    decoded.counts.add_frame(place);
                    let read = frame.read::<Message>();
                    decoded.counts.read(&read);
                    match read.expect("a sound frame can be read").payload {
                        Message::Move(sent) => decoded.frames.push((frame.header, Message::Move(sent))),
                        Message::Status(sent) => decoded.frames.push((frame.header, Message::Status(sent))),
                        other => panic!("invented: {other:?}"),
                    }
                    decoded.new_frames += u64::from(place != Continuity::Duplicate);
                }
                Event::Echo(header) => panic!("invented: {header:?}"),
                Event::Corrupt(corrupt) => decoded.counts.corrupt(corrupt),
            }
        }
        assert!(remaining.is_empty(), "all bytes are read");
    }
    if let Some(corrupt) = receiver.finish() {
        decoded.counts.corrupt(corrupt);
    }
    decoded
}

fn check(seed: u64) -> Decoded {
    let mut random = Random(seed);
    let mut numbers = Numbers::new(Direction::FromDevice, seed as u32);
    let sent: Vec<Sent> = (0..40).map(|_| send(&mut numbers, &mut random)).collect();
    // The first and last of each priority come through, so that every loss lies between two that came.
    let edge = |sent: &[Sent], at: usize| {
        let same = |other: &Sent| other.header.priority == sent[at].header.priority;
        !sent[..at].iter().any(same) || !sent[at + 1..].iter().any(same)
    };
    let mut stream = vec![];
    for at in 0..sent.len() {
        let mut bytes = sent[at].bytes.clone();
        let mut fate = random.below(8);
        if edge(&sent, at) {
            // A neighbour without its closing zero would spoil this frame too.
            stream.push(0);
            fate = 7;
        }
        match fate {
            0 => bytes.clear(),
            1 => bytes.extend_from_within(..),
            2..5 => (0..=random.below(3)).for_each(|_| damage_some(&mut bytes, &mut random)),
            _ => (),
        }
        stream.extend(bytes);
    }
    let decoded = listen(&stream, &mut random);
    for (header, message) in &decoded.frames {
        let known = sent.iter().any(|sent| (&sent.header, &sent.message) == (header, message));
        assert!(known, "seed {seed}: invented {header:?} {message:?}");
    }
    let came = |sent: &&Sent| decoded.frames.iter().any(|(header, _)| *header == sent.header);
    let missing = sent.iter().filter(|sent| !came(sent)).count() as u64;
    assert_eq!(decoded.counts.lost, missing, "seed {seed}: every loss is counted");
    assert_eq!(decoded.counts.frames, 40 - missing, "seed {seed}: every frame once");
    assert_eq!(decoded.counts.frames, decoded.new_frames, "seed {seed}");
    assert_eq!((decoded.counts.restarts, decoded.counts.unreadable, decoded.counts.unknown_kinds), (0, 0, 0));
    decoded
}

fn damage_some(bytes: &mut Vec<u8>, random: &mut Random) {
    if !bytes.is_empty() {
        damage(bytes, random);
    }
}

#[test]
fn no_frame_is_invented_and_every_loss_is_counted() {
    let mut sum = Counts::default();
    let streams = rounds(5_000);
    for number in 0..streams {
        let counts = check(seed(number)).counts;
        sum.frames += counts.frames;
        sum.lost += counts.lost;
        sum.duplicates += counts.duplicates;
        sum.corrupt += counts.corrupt;
        sum.corrupt_bytes += counts.corrupt_bytes;
    }
    println!("{} frames in {streams} damaged streams: {sum:?}", streams * 40);
    assert!(sum.lost > 50_000 && sum.duplicates > 10_000 && sum.corrupt > 50_000, "there was damage");
}

#[test]
fn one_byte_wrong_anywhere_is_always_noticed() {
    let mut random = Random(11);
    let sent = send(&mut Numbers::new(Direction::FromDevice, 3), &mut random);
    for at in 0..sent.bytes.len() {
        for value in 0..=255 {
            let mut bytes = [&[0], &sent.bytes[..], &[0]].concat();
            bytes[at + 1] = value;
            let decoded = listen(&bytes, &mut random);
            if value == sent.bytes[at] {
                assert_eq!((decoded.frames.len(), decoded.counts.corrupt), (1, 0));
            } else {
                assert_eq!(decoded.frames, [], "byte {at} as {value}");
                assert!(decoded.counts.corrupt > 0, "byte {at} as {value}");
            }
        }
    }
}

#[test]
fn a_frame_cut_anywhere_is_dropped_with_all_its_bytes() {
    let mut random = Random(12);
    let sent = send(&mut Numbers::new(Direction::FromDevice, 3), &mut random);
    for cut in 0..sent.bytes.len() {
        let decoded = listen(&sent.bytes[..cut], &mut random);
        assert_eq!((decoded.frames.len(), decoded.counts.corrupt_bytes), (0, cut as u64));
    }
}
