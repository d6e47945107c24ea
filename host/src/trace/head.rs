//! In: the first lines of a recording and their dialect. Out: header, units row, first row.

use crate::trace::cell::Dialect;
use crate::trace::encoding::text;
use crate::trace::layout::Signal;
use crate::trace::sniff::{Found, census};
use crate::trace::{signal_names, unit};

/// Largest distance of a header above the first good row. Unit: lines
const SEARCH: usize = 20;

/// The header of the columns.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Header {
    /// One name for each column.
    pub(crate) names: Vec<String>,
    /// Index of its line.
    pub(crate) at: usize,
}

/// The lines before the rows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Head {
    /// The header, if there is one.
    pub(crate) header: Option<Header>,
    /// Units from a separate row, if there is one.
    pub(crate) units: Vec<Option<String>>,
    /// Index of the first line that is read as a row.
    pub(crate) first: usize,
}

/// A header that does not fit the rows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Mismatch {
    /// Index of its line.
    pub(crate) at: usize,
    /// Number of names in it.
    pub(crate) names: usize,
}

/// Searches upwards from the first good row, past bad rows and a row of units, for the header.
pub(crate) fn find(lines: &[&[u8]], found: &Found) -> Result<Head, Mismatch> {
    let mut units = Vec::new();
    let mut first = found.first;
    for at in (found.first.saturating_sub(SEARCH)..found.first).rev() {
        let line = plain(lines[at]);
        let (cells, figures) = census(line, found.dialect);
        if line.is_empty() || figures > 0 || cells < 2 {
            continue;
        }
        let names = names(line, found.dialect);
        if let Some(row) = units_row(&names) {
            (units, first) = (row, at + 1);
        } else if fits(&names, lines[found.first], found) {
            let first = if units.is_empty() { at + 1 } else { first };
            return Ok(Head { header: Some(Header { names, at }), units, first });
        } else if names.iter().any(|name| is_signal(name)) {
            return Err(Mismatch { at, names: names.len() });
        }
    }
    // Without a header, the rows begin with the first of the similar lines above.
    let alike =
        |line: &&&[u8]| census(line, found.dialect).0 == found.width && census(line, found.dialect).1 > 0;
    let above = lines[..found.first].iter().rev().take_while(alike).count();
    let first = if units.is_empty() { found.first - above } else { first };
    Ok(Head { header: None, units, first })
}

/// A line without comment marks: a header may be in a comment.
fn plain(line: &[u8]) -> &[u8] {
    let line = line.trim_ascii();
    let bare = line.strip_prefix(b"//").unwrap_or(line);
    let marks = bare.iter().take_while(|&&byte| matches!(byte, b'#' | b'%')).count();
    bare[marks..].trim_ascii()
}

/// The cells as text; with spaces as delimiter, a unit in brackets belongs to the name before it.
fn names(line: &[u8], dialect: Dialect) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for cell in dialect.cells(line).map(text) {
        match names.last_mut() {
            Some(name) if dialect.delimiter == b' ' && cell.starts_with(['[', '(']) => {
                *name = format!("{name} {cell}")
            }
            _ => names.push(cell),
        }
    }
    names
}

/// The units, if no cell holds anything else, and at least two cells a unit, or one the unit of time.
fn units_row(names: &[String]) -> Option<Vec<Option<String>>> {
    let row: Vec<Option<String>> = names.iter().map(|name| unit::in_row(name)).collect::<Option<_>>()?;
    let is_time = |unit: &String| unit::second_places(unit).is_some();
    // A header such as "s;mm;mm" is a row of units as well; the names above it are found next.
    (row.iter().flatten().count() >= 2 || row.iter().flatten().any(is_time)).then_some(row)
}

/// Whether there is one name for each cell, apart from an empty cell after the last delimiter.
fn fits(names: &[String], row: &[u8], found: &Found) -> bool {
    let blank = |cell: Option<&[u8]>| cell.is_some_and(<[u8]>::is_empty);
    let values =
        |name: &&String| !matches!(name.to_lowercase().as_str(), "" | "nan" | "inf" | "-inf" | "-" | "null");
    let named = names.iter().filter(values).count();
    let wide = match names.len() {
        count if count == found.width => true,
        count if count + 1 == found.width => blank(found.dialect.cells(row).last()),
        count if count == found.width + 1 => names.last().is_some_and(String::is_empty),
        _ => false,
    };
    wide && named >= 2 && 2 * named >= found.width
}

/// Whether a line among the rows is a header that names at least command and feedback columns.
pub(crate) fn is_header(line: &[u8], dialect: Dialect, width: usize) -> bool {
    let line = plain(line);
    let (cells, figures) = census(line, dialect);
    cells.abs_diff(width) <= 1 && figures == 0 && {
        let names = names(line, dialect);
        names.iter().filter(|name| is_signal(name)).count() >= 2
    }
}

fn is_signal(name: &str) -> bool {
    let (name, unit) = unit::split(name);
    [Signal::Command, Signal::Feedback]
        .iter()
        .any(|&signal| signal_names::score(signal, &name, unit.as_deref()) >= 36)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::sniff::sniff;

    fn run(text: &str) -> Result<Head, Mismatch> {
        let lines: Vec<&[u8]> = text.lines().map(str::as_bytes).collect();
        find(&lines, &sniff(&lines, None, None).unwrap())
    }

    #[track_caller]
    fn check(text: &str, names: &[&str], units: &[Option<&str>], first: usize) {
        let head = run(text).unwrap();
        let header = head.header.unwrap_or_else(|| Header { names: vec![], at: 0 });
        assert_eq!(header.names, names, "{text:?}");
        assert_eq!(head.units.iter().map(Option::as_deref).collect::<Vec<_>>(), units, "{text:?}");
        assert_eq!(head.first, first, "{text:?}");
    }

    #[test]
    fn the_header_is_found_above_the_rows() {
        check("t,c,f\n0,1,2\n1,1,2", &["t", "c", "f"], &[], 1);
        check("0,1,2\n1,1,2", &[], &[], 0);
        check("# made up\n\n# t,c,f\n0,1,2\n1,1,2", &["t", "c", "f"], &[], 3);
        check("Axis;shuttle\nRate;4;kHz\n\nt;c;f\n\n0;1;2\n1;1;2", &["t", "c", "f"], &[], 4);
        check(
            "t;c;f\n[s];[mm];[mm]\n0;1;2\n1;1;2",
            &["t", "c", "f"],
            &[Some("s"), Some("mm"), Some("mm")],
            2,
        );
        check("t;c;f\nms;mm;\n0;1;2\n1;1;2", &["t", "c", "f"], &[Some("ms"), Some("mm"), None], 2);
        check("t;c;f\n\n(s);(V);\n\n0;1;2\n1;1;2", &["t", "c", "f"], &[Some("s"), Some("V"), None], 3);
        check("t;c;f;v\nms;V;mm;mm/s\n0;1;2;3\n1;1;2;3", &["t", "c", "f", "v"], &["ms", "V", "mm", "mm/s"].map(Some), 2);
        check("t;c;f\ns;;\n0;1;2\n1;1;2", &["t", "c", "f"], &[Some("s"), None, None], 2);
        check("ms;mm;mm\n0;1;2\n1;1;2", &[], &[Some("ms"), Some("mm"), Some("mm")], 1);
        check("s;c;V\n0;1;2\n1;1;2", &["s", "c", "V"], &[], 1);
        check("\"t\",\"c, set\",f\n0,1,2\n1,1,2", &["t", "c, set", "f"], &[], 1);
        check("t,c,f\n0,1,2,\n1,1,2,", &["t", "c", "f"], &[], 1);
        check(
            "time [s] command [mm] act [mm]\n0 1 2\n1 1 2",
            &["time [s]", "command [mm]", "act [mm]"],
            &[],
            1,
        );
        check("0;1;2\nx;1;x\n0;1;2\n1;1;2", &[], &[], 0);
        check("x;y\nsome words here\n0;1;2\n1;1;2", &[], &[], 2);
    }

    #[test]
    fn bad_rows_under_the_header_are_rows() {
        check("t,c,f\nnan,nan,nan\n-1,,x\n0,1,2\n1,1,2", &["t", "c", "f"], &[], 1);
        check(
            "t,c,f\ns,mm,mm\n0,?,?\n0,1,2\n1,1,2",
            &["t", "c", "f"],
            &[Some("s"), Some("mm"), Some("mm")],
            2,
        );
    }

    #[test]
    fn names_that_do_not_fit_the_rows_are_refused() {
        assert_eq!(run("t,command,feedback\n0,1,0,2,0,3\n0,2,0,2,0,3"), Err(Mismatch { at: 0, names: 3 }));
    }
}
