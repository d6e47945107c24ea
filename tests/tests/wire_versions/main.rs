//! In: golden bytes. Out: every version that was ever written can be read, and the current one is written the same.

use std::fmt::Debug;

use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::cobs::Decoder;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::{Frame, Payload, Read, encode};
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::{CURRENT, LONGEST_BODY, LONGEST_FRAME, OLDEST, RELEASED};

mod v01;
mod v02;

/// The frame as hex, its header, and what it says.
#[derive(Clone)]
struct Golden<P>(&'static str, Header, P);

fn bytes(hex: &str) -> Vec<u8> {
    let hex: String = hex.split_whitespace().collect();
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

fn hex_of(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn check<'p, P: Payload<'p> + PartialEq + Debug>(golden: &Golden<P>) {
    let Golden(hex, header, payload) = golden;
    if header.version == CURRENT {
        let mut buffer = [0; LONGEST_FRAME];
        let written = encode::<SmallTable>(header, payload, &mut buffer).expect("fits");
        assert_eq!(
            hex_of(written),
            hex.split_whitespace().collect::<String>(),
            "the frame as written now, and the golden one, of {payload:?}"
        );
    }
    check_read(golden);
}

fn check_read<'p, P: Payload<'p> + PartialEq + Debug>(golden: &Golden<P>) {
    let Golden(hex, header, payload) = golden;
    let frame = bytes(hex);
    // The payload may borrow from the bytes; a test may leak them.
    let body = frame.leak();
    let mut decoder = Decoder::<LONGEST_BODY>::default();
    let body = decoder.step(&mut &*body).and_then(|chunk| chunk.body.ok()).expect("framed").to_vec().leak();
    let frame = Frame::check::<FastCrc>(body).expect("sealed");
    assert_eq!(frame.header, *header);
    match frame.read::<P>() {
        Ok(Read { payload: found, extra: 0 }) => assert_eq!(found, *payload),
        other => panic!("{payload:?} was read as {other:?}"),
    }
}

#[test]
fn version_1_stays_as_it_was() {
    let (messages, commands) = (v01::messages(), v01::commands());
    messages.iter().for_each(check);
    commands.iter().for_each(check);
    v01::shorter_messages().iter().for_each(check_read);
    v01::shorter_commands().iter().for_each(check_read);
    println!("ran golden bytes of version 1: {} messages, {} commands", messages.len(), commands.len());
}

/// Open: it may still grow, and its file with it.
#[test]
fn version_2_is_what_is_written() {
    let (messages, commands) = (v02::messages(), v02::commands());
    messages.iter().for_each(check);
    commands.iter().for_each(check);
    println!("ran golden bytes of version 2: {} messages, {} commands", messages.len(), commands.len());
}

#[test]
fn every_version_that_can_be_read_has_its_bytes_here() {
    assert_eq!((OLDEST, RELEASED, CURRENT), (1, 1, 2), "a version without a file and a test in this folder");
}
