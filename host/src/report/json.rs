//! In: anything with fields. Out: one line of JSON, in which text stands that is safe to show, and reads back as it was.
//!
//! `serde_json` escapes what JSON demands, which is C0. The other characters that are not for reading are escaped here,
//! so that a line on a terminal is a line, while every reader gets the text that came in (RFC 8259, 7).

use std::io;

use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};

use super::printable::is_unprintable;

/// Writes one line, with its line break.
pub fn write(value: &impl Serialize, out: &mut impl io::Write) -> io::Result<()> {
    value.serialize(&mut Serializer::with_formatter(&mut *out, Escaped))?;
    out.write_all(b"\n")
}

/// One line, with its line break.
pub fn line(value: &impl Serialize) -> io::Result<String> {
    let mut bytes = Vec::new();
    write(value, &mut bytes)?;
    String::from_utf8(bytes).map_err(io::Error::other)
}

struct Escaped;

impl Formatter for Escaped {
    fn write_string_fragment<W: io::Write + ?Sized>(&mut self, out: &mut W, text: &str) -> io::Result<()> {
        let mut rest = text;
        while let Some((at, c)) = rest.char_indices().find(|(_, c)| is_unprintable(*c)) {
            out.write_all(&rest.as_bytes()[..at])?;
            c.encode_utf16(&mut [0; 2]).iter().try_for_each(|unit| write!(out, "\\u{unit:04x}"))?;
            rest = &rest[at + c.len_utf8()..];
        }
        out.write_all(rest.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_safe_to_show_and_reads_back_as_it_was() {
        let text = "a\"\\\x1b[2J\n\u{7F}\u{9B}µ\u{202E}\u{2028}\u{E0041}\u{1F600}";
        let object = serde_json::json!({ text: [text] });
        let line = line(&object).unwrap();
        assert!(line.trim_end_matches('\n').chars().all(|c| !is_unprintable(c)), "{line:?}");
        assert!(line.contains(
            r"\u007f\u009bµ\u202e\u2028\udb40\udc41\u{1F600}".replace(r"\u{1F600}", "\u{1F600}").as_str()
        ));
        assert_eq!(serde_json::from_str::<serde_json::Value>(&line).unwrap(), object);
    }
}
