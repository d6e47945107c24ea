//! In: whatever the stages may find, extremes included. Out: the same, through frames, bit for bit.

use proptest::collection::vec;
use proptest::prelude::*;
use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::{Frame, Payload, Read, encode, encode_body};
use stillpoint_core::wire::header::{Direction, Header, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event, Receiver};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::{LONGEST_BODY, LONGEST_FRAME};
use stillpoint_core::{Parameters, Record};
use stillpoint_tests::rounds::cases;

use draw::{Draw, command, message, parameters, record};

mod draw;

/// Any number, the edges of every width often.
fn wild() -> impl Strategy<Value = u64> {
    let edges = [0, 1, 127, 128, u64::from(u32::MAX >> 1), 1 << 31, u64::from(u32::MAX), 1 << 63, u64::MAX];
    prop_oneof![proptest::sample::select(edges.to_vec()), any::<u64>()]
}

/// Encodes, receives byte by byte, and hands over what was read, borrowed from the receiver.
fn through<'p, P: Payload<'p>>(header: &Header, payload: &P, check: impl FnOnce(&Header, Event)) {
    let mut buffer = [0; LONGEST_FRAME];
    let frame = encode::<SmallTable>(header, payload, &mut buffer).expect("fits a frame");
    let mut body = [0; LONGEST_BODY];
    let body = encode_body::<SmallTable>(header, payload, &mut body).expect("fits a body");
    let body = Frame::check::<FastCrc>(body).expect("sealed");
    let (kind, bytes) = (body.kind(), body.payload());
    assert_eq!(postcard::to_slice(payload, &mut [0; 300]).unwrap(), [&[kind], bytes].concat());
    let mut receiver = Receiver::<FastCrc>::new(P::DIRECTION);
    let (last, others) = frame.split_last().expect("bytes");
    for byte in others {
        assert_eq!(receiver.step(&mut &[*byte][..]), None);
    }
    let mut remaining = std::slice::from_ref(last);
    let event = receiver.step(&mut remaining).expect("a frame");
    check(header, event);
}

fn same(message: Message<'_>, draw: &mut Draw) {
    let header = Numbers::new(Direction::FromDevice, draw.u32()).next_header(message.priority());
    let header = Header { sequence: draw.u32(), replay: draw.bool(), ..header };
    through(&header, &message, |header, event| {
        let Event::Frame(frame) = event else { panic!("{event:?}") };
        assert_eq!(frame.header, *header);
        assert_eq!(frame.read(), Ok(Read { payload: message, extra: 0 }));
    });
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..cases(1000) })]

    #[test]
    fn a_record_survives(numbers in vec(wild(), 48), axis: u8, inferred: bool) {
        let mut draw = Draw(numbers.into_iter());
        let record = record(&mut draw);
        let sent = Move { kind: draw.u32(), job: draw.u32(), ..Move::new(axis, inferred, &record) };
        prop_assert_eq!((Record::from(&sent), sent.axis, sent.is_inferred()), (record, axis, inferred));
        same(Message::Move(sent), &mut draw);
    }

    #[test]
    fn every_other_message_survives(numbers in vec(wild(), 40), kind in 0..14_usize) {
        let mut draw = Draw(numbers.into_iter());
        let message = message(&mut draw, kind);
        same(message, &mut draw);
    }

    #[test]
    fn every_command_survives(numbers in vec(wild(), 40), kind in 0..10_usize) {
        let mut draw = Draw(numbers.into_iter());
        let command = command(&mut draw, kind);
        let header = Numbers::new(Direction::FromHost, draw.u32()).next_header(command.priority());
        through(&header, &command, |header, event| {
            let Event::Frame(frame) = event else { panic!("{event:?}") };
            assert_eq!((frame.header, frame.read()), (*header, Ok(Read { payload: command, extra: 0 })));
        });
    }

    #[test]
    fn parameters_survive(numbers in vec(wild(), 40)) {
        let parameters = parameters(&mut Draw(numbers.into_iter()));
        let sent = stillpoint_core::wire::settings::Parameters::from(&parameters);
        prop_assert_eq!(Parameters::from(&sent), parameters);
    }
}
