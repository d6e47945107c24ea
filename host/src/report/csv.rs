//! In: a measured move. Out: its CSV row, under the same field names as its JSON line.
//!
//! `Writer` quotes by RFC 4180, so that a name with commas, quotes or line breaks reads back as it was.

use std::io;

use super::line::MoveLine;

/// Writes the header, then one row for each move.
#[derive(Debug)]
pub struct Writer<W: io::Write> {
    rows: csv::Writer<W>,
    with_kinds: bool,
}

impl<W: io::Write> Writer<W> {
    /// Writes the header to `out`.
    pub fn new(out: W) -> io::Result<Self> {
        let mut rows = csv::Writer::from_writer(out);
        rows.write_record(header()).map_err(plain)?;
        Ok(Self { rows, with_kinds: false })
    }

    /// The same for moves out of a store: their kinds in one more column.
    pub fn with_kinds(out: W) -> io::Result<Self> {
        let mut rows = csv::Writer::from_writer(out);
        rows.write_record(header().iter().chain(&["kind"])).map_err(plain)?;
        Ok(Self { rows, with_kinds: true })
    }

    /// Writes one move.
    pub fn take(&mut self, line: &MoveLine) -> io::Result<()> {
        let kind = self.with_kinds.then(|| line.kind.clone().unwrap_or_default());
        self.rows.write_record(row(line).into_iter().chain(kind)).map_err(plain)
    }

    /// Writes what is still held back.
    pub fn finish(mut self) -> io::Result<()> {
        self.rows.flush()
    }
}

/// The error of the medium itself, so that a closed pipe is still known as one.
fn plain(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}

/// The names of the columns, in the order of [`row`].
pub fn header() -> Vec<&'static str> {
    vec![
        "file",
        "axis",
        "move",
        "start_s",
        "command_end_s",
        "travel",
        "peak_speed",
        "unit",
        "window",
        "window_time_s",
        "definition",
        "outcome",
        "reason",
        "settling_s",
        "settling_u_s",
        "first_entry_s",
        "confirmation_s",
        "stabilization_s",
        "window_entries",
        "overshoot",
        "peak_following_error",
        "error_at_command_end",
        "rest_error",
        "rest_noise_rms",
        "counts_per_unit",
        "ringing_hz",
        "ringing_u_hz",
        "damping_ratio",
        "tail_s",
        "signature",
        "settling_curve",
        "settling_95_s",
    ]
}

/// The fields of one move as text; a field without a value is empty, the settling curve is
/// `window:settling;…` with an empty settling where the move did not settle.
pub fn row(line: &MoveLine) -> Vec<String> {
    vec![
        line.file.clone(),
        line.axis.clone(),
        line.number.to_string(),
        number(line.start_s),
        number(line.command_end_s),
        number(line.travel),
        number(line.peak_speed),
        line.unit.clone(),
        number(line.window),
        number(line.window_time_s),
        line.definition.clone(),
        line.outcome.clone(),
        line.reason.clone(),
        optional(line.settling_s),
        optional(line.settling_u_s),
        optional(line.first_entry_s),
        optional(line.confirmation_s),
        optional(line.stabilization_s),
        line.window_entries.to_string(),
        number(line.overshoot),
        number(line.peak_following_error),
        number(line.error_at_command_end),
        optional(line.rest_error),
        optional(line.rest_noise_rms),
        number(line.counts_per_unit),
        optional(line.ringing_hz),
        optional(line.ringing_u_hz),
        optional(line.damping_ratio),
        optional(line.tail_s),
        line.signature.clone().unwrap_or_default(),
        curve(&line.settling_curve),
        optional(line.settling_95_s),
    ]
}

/// Shortest text that reads back as the same number.
fn number(value: f64) -> String {
    if value.is_finite() { value.to_string() } else { String::new() }
}

fn optional(value: Option<f64>) -> String {
    value.map(number).unwrap_or_default()
}

fn curve(points: &[(f64, Option<f64>)]) -> String {
    let each: Vec<String> = points
        .iter()
        .map(|(window, settling)| format!("{}:{}", number(*window), optional(*settling)))
        .collect();
    each.join(";")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plot::fake::line;

    /// The position of every name in the JSON line, which is the contract.
    #[test]
    fn names_and_order_are_those_of_the_json_line() {
        let json = serde_json::to_string(&line(1, Some(0.08))).unwrap();
        let at: Vec<usize> =
            header().iter().map(|name| json.find(&format!("\"{name}\":")).expect(name)).collect();
        assert!(at.is_sorted(), "{at:?}");
        let fields = serde_json::from_str::<serde_json::Value>(&json).unwrap();
        assert_eq!(fields.as_object().unwrap().len(), header().len());
    }

    #[test]
    fn a_row_holds_the_same_values_as_the_json_line() {
        for line in [line(1, Some(0.08)), line(2, None)] {
            let json = serde_json::to_value(&line).unwrap();
            for (name, text) in header().into_iter().zip(row(&line)) {
                match &json[name] {
                    serde_json::Value::Null => assert_eq!(text, "", "{name}"),
                    serde_json::Value::String(expected) => assert_eq!(&text, expected, "{name}"),
                    serde_json::Value::Number(expected) => {
                        assert_eq!(text.parse::<f64>().ok(), expected.as_f64(), "{name}");
                    }
                    _ => assert_eq!(text, curve(&line.settling_curve), "{name}"),
                }
            }
        }
    }

    #[test]
    fn any_name_reads_back_as_it_was() {
        let mut odd = line(1, None);
        odd.file = "a,\"b\"\r\n<script>\u{7};=1+1".to_owned();
        let mut bytes = Vec::new();
        let mut writer = Writer::new(&mut bytes).unwrap();
        writer.take(&odd).unwrap();
        writer.take(&line(2, Some(0.08))).unwrap();
        writer.finish().unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        assert_eq!(reader.headers().unwrap(), &csv::StringRecord::from(header()));
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows, [row(&odd), row(&line(2, Some(0.08)))]);
    }

    #[test]
    fn the_curve_is_one_field() {
        assert_eq!(curve(&[(0.1, Some(0.02)), (0.01, Some(0.0)), (0.001, None)]), "0.1:0.02;0.01:0;0.001:");
        assert_eq!(curve(&[]), "");
    }
}
