//! In: CRC, COBS and postcard as published, group 06. Out: the same from the core, exact.
//!
//! Sources: `06_crc` (RevEng catalogue check values), `06_cobs` (Cheshire and Baker 1999; table of
//! the Wikipedia article), `06_postcard` (the postcard specification). Tolerance: exact.

use std::fmt::Debug;

use serde::{Serialize, de::DeserializeOwned};
use stillpoint::checksum::FastCrc;
use stillpoint_core::wire::cobs::{Decoder, encode_in_place};
use stillpoint_core::wire::crc::{Crc as _, SmallTable};
use stillpoint_tests::published::{Row, rows};

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

#[test]
fn the_crc_is_the_published_one() {
    let table = rows("published/06_crc.csv");
    let mut ran = 0;
    for row in &table {
        let (algorithm, input) = (row.text("algorithm"), row.text("hex_input"));
        if algorithm != "CRC-32/ISO-HDLC" {
            println!("not ours 06 crc: {algorithm} of {input:?}");
            continue;
        }
        let expected = u32::from_str_radix(row.text("crc").trim_start_matches("0x"), 16).unwrap();
        let input = bytes(input);
        assert_eq!((SmallTable::crc(&input), FastCrc::crc(&input)), (expected, expected));
        println!("ran 06 crc: {algorithm} of {input:02x?} is {expected:#010x}");
        ran += 1;
    }
    assert_eq!(ran, 4, "rows of CRC-32/ISO-HDLC");
}

/// Bodies of a frame are at most 254 bytes; longer rows are only decoded.
fn check_cobs(body: &[u8], encoded: &[u8]) {
    let mut buffer = vec![0xEE; body.len() + 2];
    buffer[1..=body.len()].copy_from_slice(body);
    let closed = [encoded, &[0]].concat();
    let used = encode_in_place(&mut buffer, body.len());
    if body.len() <= 254 {
        assert_eq!(used.map(|used| &buffer[..used]), Some(&closed[..]));
    } else {
        assert_eq!(used, None, "too long for one frame");
    }
    for size in 1..=closed.len() {
        let mut decoder = Decoder::<255>::default();
        let mut found = vec![];
        for chunk in closed.chunks(size) {
            let mut rest = chunk;
            while let Some(chunk) = decoder.step(&mut rest) {
                found.push((chunk.body.map(<[u8]>::to_vec), chunk.bytes as usize));
            }
        }
        assert_eq!(found, [(Ok(body.to_vec()), closed.len())], "in chunks of {size}");
    }
}

#[test]
fn cobs_is_the_published_one() {
    let table = rows("published/06_cobs.csv");
    for row in &table {
        let body = bytes(row.text("input_hex"));
        check_cobs(&body, &bytes(row.text("encoded_hex")));
        let note =
            if body.len() > 254 { "; encoding it is refused, bodies of frames are shorter" } else { "" };
        println!("ran 06 cobs: {} bytes, {}{note}", body.len(), row.text("input_short"));
    }
}

fn check_value<T: Serialize + DeserializeOwned + PartialEq + Debug>(value: T, encoded: &[u8]) {
    assert_eq!(postcard::to_slice(&value, &mut [0; 16]).unwrap(), encoded);
    assert_eq!(postcard::take_from_bytes::<T>(encoded).unwrap(), (value, &[][..]));
}

fn check_decoding(row: &Row, encoded: &[u8]) {
    let found = postcard::take_from_bytes::<u16>(encoded).ok().map(|(value, _)| value);
    let expected = if row.text("encoding_hex").starts_with("ERROR") { None } else { Some(0) };
    assert_eq!(found, expected);
}

#[test]
fn postcard_is_the_published_one() {
    let table = rows("published/06_postcard.csv");
    for row in &table {
        let (kind, value, hex) = (row.text("type"), row.text("value"), row.text("encoding_hex"));
        let length = |value: &[u8]| format!("{} bytes", value.len());
        match kind {
            "u16" => check_value::<u16>(value.parse().unwrap(), &bytes(hex)),
            "i16" => check_value::<i16>(value.parse().unwrap(), &bytes(hex)),
            "f32" => check_value::<f32>(value.parse().unwrap(), &bytes(hex)),
            "f64" => check_value::<f64>(value.parse().unwrap(), &bytes(hex)),
            "bool" => check_value::<bool>(value.parse().unwrap(), &bytes(hex)),
            "u16 decode" => check_decoding(row, &bytes(value)),
            "option u8 None" => check_value::<Option<u8>>(None, &bytes(hex)),
            "option u8 Some(5)" => check_value(Some(5_u8), &bytes(hex)),
            "max len u32/i32" => {
                assert_eq!(length(postcard::to_slice(&u32::MAX, &mut [0; 16]).unwrap()), hex);
                assert_eq!(length(postcard::to_slice(&i32::MIN, &mut [0; 16]).unwrap()), hex);
            }
            "max len u64/i64" => {
                assert_eq!(length(postcard::to_slice(&u64::MAX, &mut [0; 16]).unwrap()), hex);
                assert_eq!(length(postcard::to_slice(&i64::MIN, &mut [0; 16]).unwrap()), hex);
            }
            other => panic!("a row of a type not known here: {other}"),
        }
        println!("ran 06 postcard: {kind} {value} {hex}");
    }
}
