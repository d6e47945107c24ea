//! In: the raw bytes of a file. Out: bytes in which numbers are ASCII, and text for messages.
//!
//! UTF-16 is decoded. UTF-8 and Windows-1252 pass unchanged: delimiters and numbers are the same bytes in both, and only
//! names and messages differ.

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};
use encoding_rs_io::DecodeReaderBytesBuilder;
use std::io::{self, Cursor, Read};

/// Bytes examined to detect UTF-16 without a byte order mark.
const PROBE: usize = 512;

/// The encoding that must be decoded before lines can be split, and the length of its byte order mark.
pub(crate) fn wide(start: &[u8]) -> (Option<&'static Encoding>, usize) {
    match start {
        [0xEF, 0xBB, 0xBF, ..] => return (None, 3),
        [0xFF, 0xFE, ..] => return (Some(UTF_16LE), 2),
        [0xFE, 0xFF, ..] => return (Some(UTF_16BE), 2),
        _ => {}
    }
    // Numbers and delimiters are ASCII, so in UTF-16 every other byte of a recording is zero.
    let probe = &start[..start.len().min(PROBE)];
    let zeros = |odd: usize| probe.iter().skip(odd).step_by(2).filter(|&&byte| byte == 0).count();
    let half = probe.len() / 2;
    match (zeros(0), zeros(1)) {
        (even, odd) if half > 1 && odd * 10 >= half * 8 && even * 10 <= half => (Some(UTF_16LE), 0),
        (even, odd) if half > 1 && even * 10 >= half * 8 && odd * 10 <= half => (Some(UTF_16BE), 0),
        _ => (None, 0),
    }
}

/// A reader of ASCII-compatible bytes, according to the start of `raw`.
pub(crate) fn decoded<R: Read + Send + 'static>(mut raw: R) -> io::Result<Box<dyn Read + Send>> {
    let mut start = Vec::new();
    raw.by_ref().take(PROBE as u64).read_to_end(&mut start)?;
    let (encoding, mark) = wide(&start);
    start.drain(..mark);
    let whole = Cursor::new(start).chain(raw);
    Ok(match encoding {
        None => Box::new(whole),
        Some(_) => {
            Box::new(DecodeReaderBytesBuilder::new().encoding(encoding).bom_override(false).build(whole))
        }
    })
}

/// Text for a name or a message: UTF-8 if valid, otherwise Windows-1252, which accepts any bytes.
pub(crate) fn text(bytes: &[u8]) -> String {
    match core::str::from_utf8(bytes) {
        Ok(text) => text.to_string(),
        Err(_) => WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: &str = "t [µs];Weg\n0;1\n1;2\n";

    fn utf16(mark: bool, little: bool) -> Vec<u8> {
        let mark = mark.then_some(0xFEFF);
        let order = |unit: u16| if little { unit.to_le_bytes() } else { unit.to_be_bytes() };
        mark.into_iter().chain(PLAIN.encode_utf16()).flat_map(order).collect()
    }

    #[track_caller]
    fn check(raw: Vec<u8>, expected: &str) {
        let mut out = Vec::new();
        decoded(Cursor::new(raw)).unwrap().read_to_end(&mut out).unwrap();
        assert_eq!(text(&out), expected);
    }

    #[test]
    fn every_encoding_gives_the_same_text() {
        check(PLAIN.as_bytes().to_vec(), PLAIN);
        check([b"\xEF\xBB\xBF", PLAIN.as_bytes()].concat(), PLAIN);
        for (mark, little) in [(true, true), (true, false), (false, true), (false, false)] {
            check(utf16(mark, little), PLAIN);
        }
        check(WINDOWS_1252.encode(PLAIN).0.into_owned(), PLAIN);
        check(Vec::new(), "");
        check(vec![0], "\0");
        check(vec![0xFF, 0xFE], "");
    }
}
