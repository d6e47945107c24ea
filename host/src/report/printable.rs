//! In: text from a file or a command line. Out: the same, safe to show: nothing in it moves a cursor or turns
//! the order of letters.

/// `text` with line breaks and tabs as blanks, and every other character that is not for reading as U+FFFD:
/// control characters, and the marks that reorder or hide the text around them (Unicode UAX #9, 2.1–2.5).
pub fn printable(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => ' ',
            '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => '\u{FFFD}',
            '\u{061C}' | '\u{FEFF}' | '\u{FFFE}' | '\u{FFFF}' => '\u{FFFD}',
            c if c.is_control() => '\u{FFFD}',
            c => c,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_stay_readable_and_nothing_else() {
        for (text, expected) in [
            ("tray shuttle, 1 µm, Förderer", "tray shuttle, 1 µm, Förderer"),
            ("two\r\nlines\tand", "two  lines and"),
            ("\x1b[2Jbell\x07", "\u{FFFD}[2Jbell\u{FFFD}"),
            ("txt.\u{202E}gnp", "txt.\u{FFFD}gnp"),
        ] {
            assert_eq!(printable(text), expected);
        }
    }
}
