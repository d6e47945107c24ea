//! In: rows and the table of their fields. Out: CSV under the names of the fields.
//!
//! Quoted by RFC 4180, so that a name with commas or quotes reads back as it was. CSV has no way to escape characters
//! that are not for reading: they are replaced ([`printable`]). A text that a spreadsheet would calculate gets an
//! apostrophe in front; numbers stay numbers. A reader that wants the text drops one apostrophe before `= + - @`.
//! Source: OWASP ASVS 5, 1.2.10, and *CSV Injection* with the full-width signs and the leading blanks (from memory).

use std::io;

use super::field::{Field, Value, WindowSettling};
use super::move_report::{FIELDS, MoveReport, stored_fields};
use super::printable::printable;

/// Writes the header, then one line for each row.
#[derive(Debug)]
pub struct Writer<R: 'static, W: io::Write> {
    fields: Vec<&'static Field<R>>,
    lines: Lines<W>,
}

/// Lines of cells, each safe to show and to open in a spreadsheet. All CSV goes through here.
#[derive(Debug)]
pub struct Lines<W: io::Write>(csv::Writer<W>);

impl<W: io::Write> Lines<W> {
    /// Lines for `out`.
    pub fn new(out: W) -> Self {
        Self(csv::Writer::from_writer(out))
    }

    /// Writes one line.
    pub fn write(&mut self, cells: impl IntoIterator<Item = impl AsRef<str>>) -> io::Result<()> {
        self.0.write_record(cells.into_iter().map(|text| cell(text.as_ref()))).map_err(io_error)
    }

    /// Writes what is still buffered.
    pub fn finish(mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// The text of a cell, which no spreadsheet takes for a formula.
fn cell(text: &str) -> String {
    let text = printable(text);
    let is_formula = text.trim_start().starts_with(['=', '+', '-', '@', '＝', '＋', '－', '＠']);
    let is_number = text.parse().is_ok_and(f64::is_finite);
    if is_formula && !is_number { format!("'{text}") } else { text }
}

impl<W: io::Write> Writer<MoveReport, W> {
    /// Of moves.
    pub fn of_moves(out: W) -> io::Result<Self> {
        Self::new(FIELDS.iter().collect(), out)
    }

    /// Of moves out of a store: their kinds in one more column.
    pub fn of_stored_moves(out: W) -> io::Result<Self> {
        Self::new(stored_fields().collect(), out)
    }
}

impl<R, W: io::Write> Writer<R, W> {
    /// Writes the header to `out`.
    pub fn new(fields: Vec<&'static Field<R>>, out: W) -> io::Result<Self> {
        let mut lines = Lines::new(out);
        lines.write(fields.iter().map(|field| field.name))?;
        Ok(Self { fields, lines })
    }

    /// Writes one row.
    pub fn write(&mut self, row: &R) -> io::Result<()> {
        self.lines.write(self.fields.iter().map(|field| text((field.value)(row))))
    }

    /// Writes what is still buffered.
    pub fn finish(self) -> io::Result<()> {
        self.lines.finish()
    }
}

/// The error of the medium itself, so that a closed pipe is still known as one.
fn io_error(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}

/// A value as text, empty where there is none; a curve is `window:settling;…` with an empty settling where the move did
/// not settle.
pub fn text(value: Value) -> String {
    match value {
        Value::Text(text) => text.unwrap_or_default().to_owned(),
        Value::Whole(number) => number.map(|number| number.to_string()).unwrap_or_default(),
        // Shortest text that reads back as the same number.
        Value::Number(number) => number.map(|number| number.to_string()).unwrap_or_default(),
        Value::Curve(points) => curve(points),
    }
}

fn curve(points: &[WindowSettling]) -> String {
    let point = |(window, settling): &WindowSettling| {
        format!("{window}:{}", settling.map(|settling| settling.to_string()).unwrap_or_default())
    };
    points.iter().map(point).collect::<Vec<String>>().join(";")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::report;

    #[track_caller]
    fn rows(reports: &[MoveReport]) -> (Vec<String>, Vec<csv::StringRecord>) {
        let mut bytes = Vec::new();
        let mut writer = Writer::of_stored_moves(&mut bytes).unwrap();
        reports.iter().for_each(|report| writer.write(report).unwrap());
        writer.finish().unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let header = reader.headers().unwrap().iter().map(str::to_owned).collect();
        (header, reader.records().map(Result::unwrap).collect())
    }

    #[test]
    fn a_row_holds_the_values_of_the_json_line_in_its_order() {
        let settled = MoveReport { kind: Some("kind 3".to_owned()), ..report(1, Some(0.08)) };
        let reports = [settled, report(2, None)];
        let (header, rows) = rows(&reports);
        let text = serde_json::to_string(&reports[0]).unwrap();
        let places: Vec<_> =
            header.iter().map(|name| text.find(&format!("\"{name}\":")).expect(name)).collect();
        assert!(places.is_sorted(), "{places:?}");
        for (report, row) in reports.iter().zip(&rows) {
            let json = serde_json::to_value(report).unwrap();
            assert_eq!(json.as_object().unwrap().len() + usize::from(report.kind.is_none()), header.len());
            for (name, text) in header.iter().zip(row) {
                match json.get(name) {
                    None | Some(serde_json::Value::Null) => assert_eq!(text, "", "{name}"),
                    Some(serde_json::Value::String(expected)) => assert_eq!(text, expected, "{name}"),
                    Some(serde_json::Value::Number(expected)) => {
                        assert_eq!(text.parse::<f64>().ok(), expected.as_f64(), "{name}");
                    }
                    Some(_) => assert_eq!(text, curve(&report.settling_curve), "{name}"),
                }
            }
        }
    }

    #[test]
    fn names_read_back_safe_to_show_and_no_spreadsheet_calculates_them() {
        for (file, expected) in [
            ("a,\"b\";<script>=1+1", "a,\"b\";<script>=1+1"),
            ("two\r\nlines\u{7}", "two  lines\u{FFFD}"),
            ("=1+1", "'=1+1"),
            ("+1|' /C x'!A0", "'+1|' /C x'!A0"),
            ("-1-1", "'-1-1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\t=1", "' =1"),
            ("\r=1", "' =1"),
            ("＝1", "'＝1"),
            ("-inf", "'-inf"),
            ("-0.5", "-0.5"),
            ("'=1", "'=1"),
        ] {
            let (_, rows) = rows(&[MoveReport { file: file.to_owned(), ..report(1, None) }]);
            assert_eq!(&rows[0][0], expected);
        }
    }

    #[test]
    fn the_curve_is_one_field() {
        assert_eq!(curve(&[(0.1, Some(0.02)), (0.01, Some(0.0)), (0.001, None)]), "0.1:0.02;0.01:0;0.001:");
        assert_eq!(curve(&[]), "");
    }
}
