//! In: the first lines of a recording and their dialect. Out: header, units row, first row.

use crate::trace::cell::Dialect;
use crate::trace::decimal::Decimal;
use crate::trace::encoding::text;
use crate::trace::layout::Signal;
use crate::trace::sniff::{self, Found, census, is_row};
use crate::trace::{signal_names, stamp, unit};

/// Largest distance of a header above the first good row. Unit: lines
const SEARCH: usize = 20;

/// Number of rows that decide to which columns the names of a short or long header belong.
const COMPARED: usize = 200;

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
    /// What was assumed about a header with another number of cells than the rows.
    pub(crate) note: Option<String>,
}

/// A header that does not fit the rows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Mismatch {
    /// Index of its line.
    pub(crate) at: usize,
    /// Number of names in it.
    pub(crate) names: usize,
}

/// Searches upwards from the first good row, past bad rows, a row of units and other rows of words, for the header: the
/// nearest line with names, unless a line above has more names of signals.
pub(crate) fn find(lines: &[&[u8]], found: &Found) -> Result<Head, Mismatch> {
    let (mut units, mut first) = (Vec::new(), None);
    let mut best: Option<(usize, Header, Option<String>)> = None;
    for at in (found.first.saturating_sub(SEARCH)..found.first).rev() {
        let line = plain(lines[at]);
        let (cells, figures) = census(line, found.dialect);
        if line.is_empty() || figures > 0 || cells < 2 {
            continue;
        }
        let names = names(line, found.dialect);
        if let Some(row) = units_row(&names) {
            first = first.or(Some(at + 1));
            units = if units.is_empty() { row } else { units };
        } else if let Some((names, note)) = fitted(&names, line, &lines[found.first..], found) {
            first = first.or(Some(at + 1));
            let signals = signals(&names);
            if best.as_ref().is_none_or(|best| best.0 < signals) {
                best = Some((signals, Header { names, at }, note));
            }
        } else if best.is_none() && names.iter().any(|name| is_signal(name)) {
            return Err(Mismatch { at, names: names.len() });
        }
        // A row of units may also be above the names.
        if best.as_ref().is_some_and(|best| best.0 > 1 && (at < best.1.at || !units.is_empty())) {
            break;
        }
    }
    if let (Some((_, header, note)), Some(first)) = (best, first) {
        let units = aligned(units, &header.names);
        return Ok(Head { header: Some(header), units, first, note });
    }
    // Without a header, the rows begin with the first of the similar lines above.
    let alike =
        |line: &&&[u8]| census(line, found.dialect).0 == found.width && census(line, found.dialect).1 > 0;
    let above = lines[..found.first].iter().rev().take_while(alike).count();
    let first = first.unwrap_or(found.first - above);
    Ok(Head { header: None, units, first, note: None })
}

/// Number of names that mean time, command or feedback.
fn signals(names: &[String]) -> usize {
    // A row of types may repeat a word such as REAL, which is a name of feedback in some languages.
    let is_new = |at: usize| !names[..at].contains(&names[at]);
    (0..names.len()).filter(|&at| is_new(at) && (is_signal(&names[at]) || is_time(&names[at]))).count()
}

/// The units; where the first column has no name, it has no unit either.
fn aligned(mut units: Vec<Option<String>>, names: &[String]) -> Vec<Option<String>> {
    if names.first().is_some_and(String::is_empty) && units.len() + 1 == names.len() {
        units.insert(0, None);
    }
    units
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

/// One name for each cell of the rows, and what was assumed; `None` if the names do not fit.
fn fitted(
    names: &[String],
    line: &[u8],
    rows: &[&[u8]],
    found: &Found,
) -> Option<(Vec<String>, Option<String>)> {
    let names = names.to_vec();
    let values =
        |name: &&String| !matches!(name.to_lowercase().as_str(), "" | "nan" | "inf" | "-inf" | "-" | "null");
    let named = names.iter().filter(values).count();
    if named < 2 || 2 * named < found.width {
        return None;
    }
    let is_blank = |cell: Option<&[u8]>| cell.is_some_and(<[u8]>::is_empty);
    match names.len() {
        count if count == found.width => Some((names, None)),
        // An empty cell after the last delimiter.
        count if count + 1 == found.width && is_blank(found.dialect.cells(rows.first()?).last()) => {
            Some((names, None))
        }
        count if count == found.width + 1 && names.last().is_some_and(String::is_empty) => {
            Some((names, None))
        }
        count if count + 1 == found.width && first_is_unnamed(&names, rows, found) => {
            let note = "the first column has no name in the header".to_string();
            Some(([vec![String::new()], names].concat(), Some(note)))
        }
        count if count == found.width + 1 && is_spaced_evenly(line, found.dialect.delimiter) => {
            last_is_spare(names, rows, found)
        }
        _ => None,
    }
}

/// Whether the names belong to the cells from the second one on: the first column counts rows, and where a name means
/// time, the numbers below it only increase if the names are shifted.
fn first_is_unnamed(names: &[String], rows: &[&[u8]], found: &Found) -> bool {
    let first = column(rows, found, 0);
    let step = |pair: &[Option<Decimal>]| Some(pair[1]?.minus(pair[0]?));
    let counts = first.iter().all(Option::is_none)
        || first.windows(2).all(|pair| step(pair) == Some(1.0)) && first.len() > 2;
    match names.iter().position(|name| is_time(name)) {
        Some(at) => {
            let shifted = is_rising(&column(rows, found, at + 1));
            shifted && (!is_rising(&column(rows, found, at)) || at == 0 && counts)
        }
        None => counts,
    }
}

/// The names without the last one, if it means no signal and the numbers below the name of time increase.
fn last_is_spare(
    mut names: Vec<String>,
    rows: &[&[u8]],
    found: &Found,
) -> Option<(Vec<String>, Option<String>)> {
    let spare = names.pop()?;
    let at = names.iter().position(|name| is_time(name))?;
    let before = at.checked_sub(1).is_some_and(|at| is_rising(&column(rows, found, at)));
    let fits = is_rising(&column(rows, found, at)) && !before && !is_signal(&spare) && !is_time(&spare);
    let note = format!("the header has one name more than the rows have cells; '{spare}' is not used");
    fits.then_some((names, Some(note)))
}

/// Whether either all delimiters or none have a space behind them: one space may be in a name, which is then torn.
fn is_spaced_evenly(line: &[u8], delimiter: u8) -> bool {
    let behind = line.windows(2).filter(|pair| pair[0] == delimiter).map(|pair| pair[1] == b' ');
    let (spaced, close): (Vec<bool>, Vec<bool>) = behind.partition(|&is_spaced| is_spaced);
    spaced.is_empty() || close.is_empty()
}

/// The numbers or times of one column of the rows.
fn column(rows: &[&[u8]], found: &Found, index: usize) -> Vec<Option<Decimal>> {
    let rows = rows.iter().filter(|row| is_row(census(row, found.dialect), found.width)).take(COMPARED);
    let cell = |row: &&[u8]| {
        let cell = found.dialect.cells(row).nth(index)?;
        sniff::figure(cell, found.dialect.decimal).or_else(|| stamp::parse(cell))
    };
    rows.map(cell).collect()
}

fn is_rising(column: &[Option<Decimal>]) -> bool {
    let rises =
        |pair: &[Option<Decimal>]| matches!(pair, [Some(before), Some(after)] if after.minus(*before) > 0.0);
    column.len() > 1 && column.windows(2).all(rises)
}

fn is_time(name: &str) -> bool {
    let (name, unit) = unit::split(name);
    signal_names::score(Signal::Time, &name, unit.as_deref()) > 0
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
    }

    #[test]
    fn a_row_of_units_is_found_below_or_above_the_header() {
        check("t;c;f\nms;mm;\n0;1;2\n1;1;2", &["t", "c", "f"], &[Some("ms"), Some("mm"), None], 2);
        check("t;c;f\n\n(s);(V);\n\n0;1;2\n1;1;2", &["t", "c", "f"], &[Some("s"), Some("V"), None], 3);
        check(
            "t;c;f;v\nms;V;mm;mm/s\n0;1;2;3\n1;1;2;3",
            &["t", "c", "f", "v"],
            &["ms", "V", "mm", "mm/s"].map(Some),
            2,
        );
        check("t;c;f\ns;;\n0;1;2\n1;1;2", &["t", "c", "f"], &[Some("s"), None, None], 2);
        check("ms;mm;mm\n0;1;2\n1;1;2", &[], &[Some("ms"), Some("mm"), Some("mm")], 1);
        check(
            "s;mm;mm\nt;cmd;act\n0;1;2\n1;1;2",
            &["t", "cmd", "act"],
            &[Some("s"), Some("mm"), Some("mm")],
            2,
        );
        check(
            "t;cmd;act\ns;mm;mm\nREAL;REAL;REAL\n0;1;2\n1;1;2",
            &["t", "cmd", "act"],
            &[Some("s"), Some("mm"), Some("mm")],
            3,
        );
        check("Tag;Ort;Nr\nt;cmd;act\n0;1;2\n1;1;2", &["t", "cmd", "act"], &[], 2);
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
    fn a_header_with_one_name_too_few_or_too_many_is_understood() {
        let names = ["", "t", "c", "f"];
        check("t,c,f\n1,0.1,1,2\n2,0.2,1,2\n3,0.3,1,2", &names, &[], 1);
        check("t,c,f\na,0.1,1,2\nb,0.2,1,2\nc,0.3,1,2", &names, &[], 1);
        check("t,c,f\n5,0.1,1,2\n5,0.2,1,2\n5,0.3,1,2", &names, &[], 1);
        let units = [None, Some("ms"), Some("V"), Some("mm")];
        check("t,c,f\nms,V,mm\n1,0.1,1,2\n2,0.2,1,2\n3,0.3,1,2", &names, &units, 2);
        check("c,f\n0,1,2\n1,1,2\n2,1,2", &["", "c", "f"], &[], 1);
        check("t,c,f,x\n0.1,1,2\n0.2,1,2", &["t", "c", "f"], &[], 1);
        check("t, c, f, x\n0.1,1,2\n0.2,1,2", &["t", "c", "f"], &[], 1);
        for unclear in [
            // The last column may have no name.
            "t,command,f\n1,5,2,0\n2,5,2,0\n3,5,2,0",
            "t,command,f\n0.1,0.5,2,3\n0.2,0.6,2,3\n0.3,0.7,2,3",
            "command,feedback\n0.5,5,2\n0.7,5,2\n0.1,5,2",
            // "Position, actual" is one name, or the last name is that of a column.
            "t,command,Position, actual,x\n0.1,1,2,3\n0.2,1,2,3",
            "t,x,command,feedback\n0.1,1,2\n0.2,1,2",
            "command,feedback,x\n1,2\n1,2",
        ] {
            assert!(run(unclear).is_err(), "{unclear:?}: {:?}", run(unclear));
        }
    }

    #[test]
    fn names_that_do_not_fit_the_rows_are_refused() {
        assert_eq!(run("t,command,feedback\n0,1,0,2,0,3\n0,2,0,2,0,3"), Err(Mismatch { at: 0, names: 3 }));
    }
}
