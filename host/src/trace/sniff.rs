//! In: the first lines of a recording. Out: its delimiter and decimal sign.

use crate::trace::cell::Dialect;
use crate::trace::decimal::Decimal;
use crate::trace::{number, stamp};

/// All dialects; the first one is used when several give the same numbers.
const CANDIDATES: [Dialect; 10] = [
    Dialect { delimiter: b',', decimal: b'.' },
    Dialect { delimiter: b';', decimal: b'.' },
    Dialect { delimiter: b';', decimal: b',' },
    Dialect { delimiter: b'\t', decimal: b'.' },
    Dialect { delimiter: b'\t', decimal: b',' },
    Dialect { delimiter: b'|', decimal: b'.' },
    Dialect { delimiter: b'|', decimal: b',' },
    Dialect { delimiter: b' ', decimal: b'.' },
    Dialect { delimiter: b' ', decimal: b',' },
    // With quotes around the numbers.
    Dialect { delimiter: b',', decimal: b',' },
];

/// What a delimiter within words costs: less than any number. Unit: that of the score
const TORN: f64 = 1e-6;

/// Dialect of the lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Found {
    /// Delimiter and decimal sign.
    pub(crate) dialect: Dialect,
    /// Number of cells in a row.
    pub(crate) width: usize,
    /// Index of the first row.
    pub(crate) first: usize,
}

/// Why no dialect was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Failure {
    /// No line has two numbers side by side.
    NoRows,
    /// Two dialects fit equally well and give different numbers; with the index of the first row.
    Undecided(Dialect, Dialect, usize),
}

/// The number in a cell; `None` if it is doubtful.
pub(crate) fn figure(cell: &[u8], decimal: u8) -> Option<Decimal> {
    // A comma at an end is more likely a delimiter beside a space.
    let loose = decimal == b',' && (cell.starts_with(b",") || cell.ends_with(b","));
    if loose { None } else { number::of_cell(cell, decimal) }
}

/// Number of cells in a line, and of numbers or times of day among them.
pub(crate) fn census(line: &[u8], dialect: Dialect) -> (usize, usize) {
    let is_figure = |cell: &[u8]| figure(cell, dialect.decimal).is_some() || stamp::parse(cell).is_some();
    dialect
        .cells(line)
        .fold((0, 0), |(cells, figures), cell| (cells + 1, figures + usize::from(is_figure(cell))))
}

/// Whether a line with this census can be a row.
pub(crate) fn is_row((cells, figures): (usize, usize), width: usize) -> bool {
    cells == width && figures >= 2
}

/// Tries every dialect that the options allow, and returns the one with the most numbers.
pub(crate) fn sniff(lines: &[&[u8]], delimiter: Option<u8>, decimal: Option<u8>) -> Result<Found, Failure> {
    let is_allowed = |dialect: &Dialect| {
        delimiter.is_none_or(|byte| byte == dialect.delimiter)
            && decimal.is_none_or(|byte| byte == dialect.decimal)
    };
    let mut best: Option<(f64, Found)> = None;
    let (mut rival, mut tabbed) = (None, false);
    let is_possible = |dialect: &Dialect| {
        dialect.delimiter != dialect.decimal || decimal == Some(b',') || has_decimal_commas(lines)
    };
    for dialect in CANDIDATES.into_iter().filter(is_allowed).filter(is_possible) {
        // With tabs as delimiter, spaces belong to the cells.
        let Some((score, found)) = score(lines, dialect).filter(|_| !(tabbed && dialect.delimiter == b' '))
        else {
            continue;
        };
        tabbed |= dialect.delimiter == b'\t';
        match &best {
            Some((top, _)) if score < top - 1e-9 => {}
            Some((top, best)) if score <= top + 1e-9 => {
                rival = rival.or((!same(lines, best, &found)).then_some(dialect));
            }
            _ => (best, rival) = (Some((score, found)), None),
        }
    }
    match (best, rival) {
        (None, _) => Err(Failure::NoRows),
        (Some((_, found)), Some(rival)) => Err(Failure::Undecided(found.dialect, rival, found.first)),
        (Some((_, found)), None) => Ok(found),
    }
}

/// Whether a number in a cell between commas has a decimal comma for certain: three digits may be thousands, except behind
/// a zero.
fn has_decimal_commas(lines: &[&[u8]]) -> bool {
    let dialect = Dialect { delimiter: b',', decimal: b',' };
    let is_certain = |cell: &[u8]| {
        let Some(at) = cell.iter().position(|&byte| byte == b',') else { return false };
        let whole = cell[..at].strip_prefix(b"-").unwrap_or(&cell[..at]);
        figure(cell, b',').is_some() && (cell.len() - at != 4 || whole == b"0")
    };
    lines.iter().any(|line| dialect.cells(line).any(is_certain))
}

/// Sum over the rows of the share of numbers among their cells; rows are the lines of the most frequent width.
fn score(lines: &[&[u8]], dialect: Dialect) -> Option<(f64, Found)> {
    let censuses: Vec<(usize, usize)> = lines.iter().map(|line| census(line, dialect)).collect();
    let mut widths: Vec<usize> =
        censuses.iter().filter(|census| census.1 >= 2).map(|census| census.0).collect();
    widths.sort_unstable();
    let width = widths.chunk_by(|a, b| a == b).max_by_key(|alike| alike.len())?[0];
    let rows = || censuses.iter().enumerate().filter(|(_, census)| is_row(**census, width));
    let score: f64 = rows().map(|(_, census)| census.1 as f64 / width as f64).sum();
    // Of two that fit equally well, the one that leaves no delimiter within a cell of words.
    let is_torn = |line: &[u8]| dialect.cells(line).any(|cell| has_delimiter(cell, dialect));
    let score = if rows().any(|(at, _)| is_torn(lines[at])) { score - TORN } else { score };
    // A single line of two numbers may belong to the preamble, so the next line must be a row too.
    let first =
        rows().map(|(at, _)| at).find(|&at| censuses.get(at + 1).is_none_or(|next| is_row(*next, width)));
    let first = first.or_else(|| rows().map(|(at, _)| at).next())?;
    Some((score, Found { dialect, width, first }))
}

/// Whether a cell of words holds a delimiter that no text has.
fn has_delimiter(cell: &[u8], dialect: Dialect) -> bool {
    figure(cell, dialect.decimal).is_none()
        && cell.iter().any(|byte| matches!(byte, b';' | b'\t' | b'|') && *byte != dialect.delimiter)
}

/// Whether both dialects give the same numbers, so that the choice does not matter.
fn same(lines: &[&[u8]], one: &Found, other: &Found) -> bool {
    one.width == other.width
        && lines.iter().filter(|line| is_row(census(line, one.dialect), one.width)).all(|line| {
            let figures =
                |dialect: Dialect| dialect.cells(line).map(move |cell| figure(cell, dialect.decimal));
            figures(one.dialect).eq(figures(other.dialect))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(text: &str) -> Result<Found, Failure> {
        let lines: Vec<&[u8]> = text.lines().map(str::as_bytes).collect();
        sniff(&lines, None, None)
    }

    #[track_caller]
    fn check(text: &str, delimiter: char, decimal: char, width: usize, first: usize) {
        let dialect = Dialect { delimiter: delimiter as u8, decimal: decimal as u8 };
        assert_eq!(run(text), Ok(Found { dialect, width, first }), "{text:?}");
    }

    #[test]
    fn delimiter_and_decimal_sign_are_found_together() {
        check("t,c,f\n0,1.5,2\n1,2,3", ',', '.', 3, 1);
        check("0,5;1,5;2\n0,6;1;2,5", ';', ',', 3, 0);
        check("0.5;1;2\n0.6;1;2", ';', '.', 3, 0);
        check("0;1;2\n1;1;2", ';', '.', 3, 0);
        check("0,5\t1\t2\n0,6\t1\t2", '\t', ',', 3, 0);
        check("0\t1\t2\n1\t1\t2", '\t', '.', 3, 0);
        check("0\t1\tset 2\n1\t1\tset 2", '\t', '.', 3, 0);
        check("0.1|1|2\n0.2|1|2", '|', '.', 3, 0);
        check("  0.1   1  2\n 0.2 1 2", ' ', '.', 3, 0);
        check("0,1 1 2\n0,2 1 2", ' ', ',', 3, 0);
        check("0, 1, 2\n1, 1, 2", ',', '.', 3, 0);
        check("1 ,2 ,3\n2 ,2 ,3", ',', '.', 3, 0);
        check("\"0,1\",\"1\",\"2\"\n\"0,2\",\"1\",\"2\"", ',', ',', 3, 0);
        check("\"1,000\",1,2,\"3\"\n\"1,001\",1,2,\"3\"", ',', '.', 4, 0);
        check("2024-01-01 10:00:00;1,5;2,5\n2024-01-01 10:00:01;1,5;2,5", ';', ',', 3, 0);
        check("Gain;3;4\nName;x\nt;c;f\n0;1;2\n1;1;2\n2;1;2", ';', '.', 3, 3);
        check("0;1;2", ';', '.', 3, 0);
    }

    #[test]
    fn nothing_is_guessed() {
        assert_eq!(run(""), Err(Failure::NoRows));
        assert_eq!(run("some\nwords, and more"), Err(Failure::NoRows));
        let comma = Dialect { delimiter: b',', decimal: b'.' };
        let semicolon = Dialect { delimiter: b';', decimal: b'.' };
        assert_eq!(run("1,2,3\n4,5,6\n1;2;3\n4;5;6"), Err(Failure::Undecided(comma, semicolon, 0)));
        let lines: [&[u8]; 2] = [b"1,2,3", b"1;2;3"];
        assert_eq!(sniff(&lines, Some(b';'), None).map(|found| found.first), Ok(1));
    }
}
