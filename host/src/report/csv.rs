//! In: rows and the table of their fields. Out: CSV under the names of the fields.
//!
//! Quoted by RFC 4180, so that a name with commas, quotes or line breaks reads back as it was.

use std::io;

use super::field::{Field, Value, WindowSettling};
use super::move_report::{FIELDS, MoveReport, stored_fields};

/// Writes the header, then one line for each row.
#[derive(Debug)]
pub struct Writer<R: 'static, W: io::Write> {
    fields: Vec<&'static Field<R>>,
    lines: csv::Writer<W>,
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
        let mut lines = csv::Writer::from_writer(out);
        lines.write_record(fields.iter().map(|field| field.name)).map_err(io_error)?;
        Ok(Self { fields, lines })
    }

    /// Writes one row.
    pub fn write(&mut self, row: &R) -> io::Result<()> {
        self.lines.write_record(self.fields.iter().map(|field| text((field.value)(row)))).map_err(io_error)
    }

    /// Writes what is still buffered.
    pub fn finish(mut self) -> io::Result<()> {
        self.lines.flush()
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
    fn any_name_reads_back_as_it_was() {
        let file = "a,\"b\"\r\n<script>\u{7};=1+1";
        let (_, rows) = rows(&[MoveReport { file: file.to_owned(), ..report(1, None) }]);
        assert_eq!(&rows[0][0], file);
    }

    #[test]
    fn the_curve_is_one_field() {
        assert_eq!(curve(&[(0.1, Some(0.02)), (0.01, Some(0.0)), (0.001, None)]), "0.1:0.02;0.01:0;0.001:");
        assert_eq!(curve(&[]), "");
    }
}
