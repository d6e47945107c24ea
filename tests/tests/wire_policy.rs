//! In: frames of later and earlier versions. Out: what the rules in `wire.rs` promise: skipped and counted, or filled with zeros.

use serde::{Deserialize, Serialize};
use stillpoint_core::wire::appended;
use stillpoint_core::wire::command::Command;
use stillpoint_core::wire::counts::Counts;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::{
    Frame, Payload, Read, Rejection, TooLong, Unreadable, encode, encode_body,
};
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Corrupt, Event, Receiver};
use stillpoint_core::wire::status::{Cause, Gap, Hello, Missing};
use stillpoint_core::wire::{CURRENT, LONGEST_BODY, LONGEST_FRAME};

/// A gap as a later version might send it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct LaterGap {
    missing: Missing,
    count: u32,
    cause: Cause,
    #[serde(deserialize_with = "appended")]
    seconds: u32,
    #[serde(deserialize_with = "appended")]
    place: Option<u16>,
}

/// Kinds as a later version might have them: the gap stays the eighth, a seventeenth is new.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
enum Later {
    K0,
    K1,
    K2,
    K3,
    K4,
    K5,
    K6,
    Gap(LaterGap),
    K8,
    K9,
    K10,
    K11,
    K12,
    K13,
    K14,
    K15,
    K16,
    New(u64),
}

impl<'a> Payload<'a> for Later {
    const DIRECTION: Direction = Direction::FromDevice;
    const KINDS: u8 = 18;

    fn priority(&self) -> Priority {
        Priority::Move
    }
}

fn header(version: u8) -> Header {
    Header { version, priority: Priority::Move, boot: 5, ..Header::default() }
}

fn body<'p>(header: Header, payload: &impl Payload<'p>) -> Vec<u8> {
    encode_body::<SmallTable>(&header, payload, &mut [0; LONGEST_BODY]).expect("fits").to_vec()
}

const GAP: Gap = Gap { missing: Missing::Samples { axis: 1, first: 9 }, count: 3, cause: Cause::Tap };

#[test]
fn a_later_field_is_skipped_and_counted() {
    let later = LaterGap { missing: GAP.missing, count: 3, cause: Cause::Tap, seconds: 300, place: Some(7) };
    let bytes = body(header(CURRENT + 1), &Later::Gap(later));
    let frame = Frame::check::<SmallTable>(&bytes).unwrap();
    assert!(frame.is_newer());
    let read = frame.read::<Message>();
    assert_eq!(read, Ok(Read { payload: Message::Gap(GAP), extra: 4 }));
    let mut counts = Counts::default();
    counts.read(&read);
    assert_eq!(counts, Counts { longer: 1, ..Counts::default() });
}

#[test]
fn an_earlier_payload_fills_up_with_zeros() {
    let bytes = body(header(CURRENT), &Message::Gap(GAP));
    let read = Frame::check::<SmallTable>(&bytes).unwrap().read::<Later>().unwrap();
    let expected = LaterGap { missing: GAP.missing, count: 3, cause: Cause::Tap, ..LaterGap::default() };
    assert_eq!(read, Read { payload: Later::Gap(expected), extra: 0 });
}

#[test]
fn a_kind_of_a_later_version_is_skipped_and_counted() {
    let bytes = body(header(CURRENT + 1), &Later::New(5));
    let read = Frame::check::<SmallTable>(&bytes).unwrap().read::<Message>();
    assert_eq!(read, Err(Unreadable::Kind(17)));
    let mut counts = Counts::default();
    counts.read(&read);
    assert_eq!(counts, Counts { unknown_kinds: 1, ..Counts::default() });
}

#[test]
fn an_unknown_variant_in_a_payload_is_skipped_and_counted() {
    let mut bytes = body(header(CURRENT + 1), &Message::Gap(GAP));
    let cause = bytes.len() - 5;
    bytes[cause] = 99;
    let sealed = reseal(bytes);
    let read = Frame::check::<SmallTable>(&sealed).unwrap().read::<Message>();
    assert_eq!(read, Err(Unreadable::Payload(7)));
    let mut counts = Counts::default();
    counts.read(&read);
    assert_eq!(counts, Counts { unreadable: 1, ..Counts::default() });
}

/// A body with the CRC its bytes should have.
fn reseal(mut body: Vec<u8>) -> Vec<u8> {
    body.truncate(body.len() - 4);
    let crc = crc32fast::hash(&body);
    [body, crc.to_le_bytes().to_vec()].concat()
}

#[test]
fn a_version_that_never_was_is_no_frame() {
    let bytes = body(header(0), &Message::Gap(GAP));
    assert_eq!(Frame::check::<SmallTable>(&bytes), Err(Rejection::Version));
    let header_alone = reseal([&[1, 0, 0, 0, 0, 0][..], &[0; 4]].concat());
    assert_eq!(Frame::check::<SmallTable>(&header_alone), Err(Rejection::TooShort));
    assert_eq!(Frame::check::<SmallTable>(&[1, 2, 3]), Err(Rejection::TooShort));
}

#[test]
fn a_command_is_never_read_as_a_message() {
    let mut buffer = [0; LONGEST_FRAME];
    let from_host = Header { direction: Direction::FromHost, ..header(CURRENT) };
    let frame = encode::<SmallTable>(&from_host, &Command::Identify, &mut buffer).unwrap();
    let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
    assert_eq!(receiver.step(&mut &*frame), Some(Event::Echo(from_host)));
    let bytes = body(from_host, &Command::Identify);
    let read = Frame::check::<SmallTable>(&bytes).unwrap().read::<Message>();
    assert_eq!(read, Err(Unreadable::Direction));
}

#[test]
fn a_replayed_frame_has_its_number_and_the_replay_flag() {
    let bytes = body(header(CURRENT), &Message::Gap(GAP));
    let mut buffer = [0; LONGEST_FRAME];
    let again = Frame::check::<SmallTable>(&bytes).unwrap().as_replay::<SmallTable>(&mut buffer).unwrap();
    let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
    let mut remaining = again;
    let Some(Event::Frame(frame)) = receiver.step(&mut remaining) else { panic!("no frame") };
    assert_eq!(frame.header, Header { replay: true, ..header(CURRENT) });
    assert_eq!(frame.read(), Ok(Read { payload: Message::Gap(GAP), extra: 0 }));
}

#[test]
fn a_frame_that_is_too_long_is_refused_and_dropped() {
    let board = "x".repeat(LONGEST_BODY);
    let hello = Message::Hello(Hello { board: &board, ..Hello::default() });
    assert_eq!(encode::<SmallTable>(&header(CURRENT), &hello, &mut [0; LONGEST_FRAME]), Err(TooLong));
    let mut receiver = Receiver::<SmallTable>::new(Direction::FromDevice);
    let garbage = [[7; 5_000].as_slice(), &[0]].concat();
    let dropped = Corrupt { bytes: 5_001, why: Rejection::TooLong };
    assert_eq!(receiver.step(&mut &garbage[..]), Some(Event::Corrupt(dropped)));
    let mut buffer = [0; LONGEST_FRAME];
    let next = encode::<SmallTable>(&header(CURRENT), &Message::Gap(GAP), &mut buffer).unwrap();
    assert!(matches!(receiver.step(&mut &*next), Some(Event::Frame(_))), "and the next one is read");
}
