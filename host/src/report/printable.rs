//! In: text from a file, a monitor, a store or a command line. Out: the same, safe to show: nothing in it moves a
//! cursor, turns the order of letters, or hides.

/// Whether a character is not for reading: control characters (C0, DEL, C1), line and paragraph separators, the marks
/// that reorder the text around them (Unicode UAX #9, 2.1–2.6, and the deprecated ones of U+206A–F), and what no screen
/// shows: annotation marks, tags, the rest of their planes up to U+E0FFF (Unicode 15, `Default_Ignorable_Code_Point`),
/// byte order marks, and the codes that are no characters.
pub fn is_unprintable(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{206F}'
            | '\u{FDD0}'..='\u{FDEF}' | '\u{FEFF}' | '\u{FFF0}'..='\u{FFFB}' | '\u{E0000}'..='\u{E0FFF}')
        || u32::from(c) & 0xFFFE == 0xFFFE
}

/// `text` on one line: line breaks and tabs as blanks, and every other character that is not for reading as U+FFFD.
pub fn printable(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => ' ',
            c if is_unprintable(c) => '\u{FFFD}',
            c => c,
        })
        .collect()
}

/// The same for a text of several lines, whose line feeds stay.
pub fn printable_lines(text: &str) -> String {
    text.split('\n').map(printable).collect::<Vec<String>>().join("\n")
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
            ("\u{9B}2J\x7F", "\u{FFFD}2J\u{FFFD}"),
            ("txt.\u{202E}gnp", "txt.\u{FFFD}gnp"),
            ("a\u{2028}b\u{E0041}\u{E0F00}\u{FDD0}\u{1FFFE}", "a b\u{FFFD}\u{FFFD}\u{FFFD}\u{FFFD}"),
        ] {
            assert_eq!(printable(text), expected);
        }
    }

    #[test]
    fn lines_stay_lines() {
        assert_eq!(printable_lines("a\n\x1bb\r\n"), "a\n\u{FFFD}b \n");
    }
}
