//! In: the bytes of one line. Out: its cells, without surrounding spaces and quotes.

/// Delimiter and decimal sign of a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Dialect {
    /// Delimiter of cells: `,` `;` tab `|`, or a space, which means any run of spaces and tabs.
    pub(crate) delimiter: u8,
    /// Decimal sign: `.` or `,`.
    pub(crate) decimal: u8,
}

impl Dialect {
    /// The cells of `line`.
    pub(crate) fn cells<'a>(self, line: &'a [u8]) -> Cells<'a> {
        Cells { rest: Some(line), delimiter: self.delimiter }
    }

    /// Text for messages.
    pub(crate) fn describe(self) -> String {
        let delimiter = match self.delimiter {
            b'\t' => "a tab".to_string(),
            b' ' => "spaces".to_string(),
            other => format!("'{}'", char::from(other)),
        };
        format!("{delimiter} between columns and '{}' as decimal sign", char::from(self.decimal))
    }
}

/// Iterates over the cells of one line. A delimiter within quotes does not end a cell.
#[derive(Clone, Debug)]
pub(crate) struct Cells<'a> {
    rest: Option<&'a [u8]>,
    delimiter: u8,
}

impl<'a> Iterator for Cells<'a> {
    type Item = &'a [u8];

    fn next(&mut self) -> Option<&'a [u8]> {
        let mut rest = self.rest?;
        if self.delimiter == b' ' {
            rest = rest.trim_ascii_start();
            if rest.is_empty() {
                self.rest = None;
                return None;
            }
        }
        let end = end(rest, self.delimiter);
        self.rest = rest.get(end + 1..);
        Some(unquoted(rest[..end].trim_ascii()))
    }
}

/// End of the first cell of `rest`.
fn end(rest: &[u8], delimiter: u8) -> usize {
    let blank = delimiter == b' ';
    let quoted = rest.trim_ascii_start().first() == Some(&b'"');
    let mut inside = false;
    for (at, &byte) in rest.iter().enumerate() {
        inside ^= quoted && byte == b'"';
        if !inside && (byte == delimiter || blank && byte == b'\t') {
            return at;
        }
    }
    rest.len()
}

fn unquoted(cell: &[u8]) -> &[u8] {
    match cell {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        _ => cell,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(line: &str, delimiter: u8, expected: &[&str]) {
        let dialect = Dialect { delimiter, decimal: b'.' };
        let found: Vec<&str> =
            dialect.cells(line.as_bytes()).map(|cell| core::str::from_utf8(cell).unwrap()).collect();
        assert_eq!(found, expected, "{line:?}");
    }

    #[test]
    fn cells_have_no_surrounding_spaces_or_quotes() {
        check("a,b,,d", b',', &["a", "b", "", "d"]);
        check("", b',', &[""]);
        check("a,", b',', &["a", ""]);
        check(r#" "a, b" ,"", c"#, b',', &["a, b", "", "c"]);
        check(r#"5" tube;b"#, b';', &[r#"5" tube"#, "b"]);
        check(r#""never closed, b"#, b',', &[r#""never closed, b"#]);
        check("  1.0   2\t3  ", b' ', &["1.0", "2", "3"]);
        check("   ", b' ', &[]);
        check("a b\tc", b'\t', &["a b", "c"]);
    }
}
