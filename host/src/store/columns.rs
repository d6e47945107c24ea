//! In: a store and a time. Out: its moves or summaries as Parquet; every column says its unit in its metadata.

use std::collections::HashMap;
use std::io::Write;
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, Int64Array, RecordBatch, StringArray};
use arrow::datatypes::{DataType, Field, Schema};
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;

use super::database::Store;
use super::export::SummaryLine;
use super::moves::MoveQuery;
use crate::error::Error;
use crate::report::line::MoveLine;

/// Rows written at a time.
const GROUP: usize = 65_536;

/// How a column is made of a line.
enum From<L> {
    Text(fn(&L) -> String),
    Whole(fn(&L) -> i64),
    Figure(fn(&L) -> Option<f64>),
}

/// Name, unit and source of a column. A unit of `unit` is named in that column of the row.
type Column<L> = (&'static str, &'static str, From<L>);

fn of_moves() -> Vec<Column<MoveLine>> {
    use From::{Figure, Text, Whole};
    vec![
        ("file", "", Text(|line| line.file.clone())),
        ("axis", "", Text(|line| line.axis.clone())),
        ("move", "1", Whole(|line| i64::from(line.number))),
        ("start_s", "s", Figure(|line| Some(line.start_s))),
        ("command_end_s", "s", Figure(|line| Some(line.command_end_s))),
        ("travel", "unit", Figure(|line| Some(line.travel))),
        ("peak_speed", "unit/s", Figure(|line| Some(line.peak_speed))),
        ("unit", "", Text(|line| line.unit.clone())),
        ("window", "unit", Figure(|line| Some(line.window))),
        ("window_time_s", "s", Figure(|line| Some(line.window_time_s))),
        ("definition", "", Text(|line| line.definition.clone())),
        ("outcome", "", Text(|line| line.outcome.clone())),
        ("reason", "", Text(|line| line.reason.clone())),
        ("settling_s", "s", Figure(|line| line.settling_s)),
        ("settling_u_s", "s", Figure(|line| line.settling_u_s)),
        ("first_entry_s", "s", Figure(|line| line.first_entry_s)),
        ("confirmation_s", "s", Figure(|line| line.confirmation_s)),
        ("stabilization_s", "s", Figure(|line| line.stabilization_s)),
        ("window_entries", "1", Whole(|line| i64::from(line.window_entries))),
        ("overshoot", "unit", Figure(|line| Some(line.overshoot))),
        ("peak_following_error", "unit", Figure(|line| Some(line.peak_following_error))),
        ("error_at_command_end", "unit", Figure(|line| Some(line.error_at_command_end))),
        ("rest_error", "unit", Figure(|line| line.rest_error)),
        ("rest_noise_rms", "unit", Figure(|line| line.rest_noise_rms)),
        ("counts_per_unit", "count/unit", Figure(|line| Some(line.counts_per_unit))),
        ("settling_95_s", "s", Figure(|line| line.settling_95_s)),
        ("kind", "", Text(|line| line.kind.clone().unwrap_or_default())),
    ]
}

fn of_summaries() -> Vec<Column<SummaryLine>> {
    use From::{Figure, Text, Whole};
    vec![
        ("axis", "", Text(|line| line.axis.clone())),
        ("span_s", "s", Whole(|line| line.span)),
        ("kind", "1", Whole(|line| line.kind)),
        ("at", "UTC", Text(|line| line.at.clone())),
        ("moves", "1", Whole(|line| line.outcomes.iter().sum())),
        ("settled", "1", Whole(|line| line.outcomes[0])),
        ("unsettled", "1", Whole(|line| line.outcomes[1])),
        ("interrupted", "1", Whole(|line| line.outcomes[2])),
        ("untrusted", "1", Whole(|line| line.outcomes[3])),
        ("mean_s", "s", Figure(|line| line.settling[0])),
        ("min_s", "s", Figure(|line| line.settling[1])),
        ("max_s", "s", Figure(|line| line.settling[2])),
        ("p50_s", "s", Figure(|line| line.settling[3])),
        ("p95_s", "s", Figure(|line| line.settling[4])),
    ]
}

/// Collects lines and writes them in groups of rows.
struct Rows<L, W: Write + Send> {
    columns: Vec<Column<L>>,
    schema: Arc<Schema>,
    writer: ArrowWriter<W>,
    lines: Vec<L>,
    count: u64,
}

fn wrong(error: impl std::error::Error + Send + Sync + 'static) -> Error {
    Error::from(std::io::Error::other(error))
}

impl<L: Clone, W: Write + Send> Rows<L, W> {
    fn new(columns: Vec<Column<L>>, out: W) -> Result<Rows<L, W>, Error> {
        let field = |(name, unit, from): &Column<L>| {
            let form = match from {
                From::Text(_) => DataType::Utf8,
                From::Whole(_) => DataType::Int64,
                From::Figure(_) => DataType::Float64,
            };
            let unit = HashMap::from([("unit".to_owned(), (*unit).to_owned())]);
            Field::new(*name, form, true).with_metadata(unit)
        };
        let schema = Arc::new(Schema::new(columns.iter().map(field).collect::<Vec<Field>>()));
        let how = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
        let writer = ArrowWriter::try_new(out, schema.clone(), Some(how)).map_err(wrong)?;
        Ok(Rows { columns, schema, writer, lines: Vec::new(), count: 0 })
    }

    fn take(&mut self, line: &L) -> Result<(), Error> {
        self.count += 1;
        self.lines.push(line.clone());
        if self.lines.len() < GROUP { Ok(()) } else { self.write() }
    }

    fn write(&mut self) -> Result<(), Error> {
        let lines = std::mem::take(&mut self.lines);
        let array = |(_, _, from): &Column<L>| -> ArrayRef {
            match from {
                From::Text(of) => Arc::new(StringArray::from_iter_values(lines.iter().map(of))),
                From::Whole(of) => Arc::new(Int64Array::from_iter_values(lines.iter().map(of))),
                From::Figure(of) => Arc::new(Float64Array::from_iter(lines.iter().map(of))),
            }
        };
        let arrays = self.columns.iter().map(array).collect();
        let batch = RecordBatch::try_new(self.schema.clone(), arrays).map_err(wrong)?;
        self.writer.write(&batch).map_err(wrong)
    }

    fn finish(mut self) -> Result<u64, Error> {
        self.write()?;
        self.writer.close().map_err(wrong)?;
        Ok(self.count)
    }
}

impl Store {
    /// Writes moves as Parquet, without settling curves. Returns how many.
    pub fn export_move_columns(&self, query: &MoveQuery, out: impl Write + Send) -> Result<u64, Error> {
        let mut rows = Rows::new(of_moves(), out)?;
        self.moves(&MoveQuery { curves: false, ..query.clone() }, &mut |line| rows.take(line))?;
        rows.finish()
    }

    /// Writes summaries as Parquet. Returns how many.
    pub fn export_summary_columns(&self, query: &MoveQuery, out: impl Write + Send) -> Result<u64, Error> {
        let mut rows = Rows::new(of_summaries(), out)?;
        self.summary_lines(query, &mut |line| rows.take(line))?;
        rows.finish()
    }
}
