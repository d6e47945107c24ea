//! In: a Parquet file. Out: its layout, then the figures of every row; lines are row numbers from 1.
//!
//! Names, units, choice and everything after the figures are those of text recordings.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::columns::{self, Column, Columns, Table};
use crate::trace::decimal::Decimal;
use crate::trace::layout::Signal;
use crate::trace::number;
use crate::trace::pipe::{Pipe, Place};
use crate::trace::rows::{Fault, Row};
use crate::trace::survey::{Figures, Survey};
use crate::trace::unit;
use arrow::array::{Array, ArrayRef, Float32Array, Float64Array, Int64Array, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, TimeUnit};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use std::fmt::Write as _;
use std::fs::File;
use std::io;

/// Rows that are decoded at once. Unit: rows
const BATCH: usize = 4096;

/// How many places of a long file are looked at beforehand, each one batch.
const PLACES: usize = 16;

/// A Parquet recording that is being read.
pub(crate) struct Parquet {
    batches: ParquetRecordBatchReader,
    shape: Shape,
    /// Rows so far. Unit: rows
    done: u64,
    /// Unit: rows
    total: u64,
}

/// Which array of a batch is which signal.
type Shape = Vec<(usize, Signal)>;

/// One column of a batch, in one of three forms.
enum Values {
    Whole(Int64Array),
    Single(Float32Array),
    Double(Float64Array),
}

impl Parquet {
    /// Finds out which columns there are, and looks at rows all over the file.
    pub(crate) fn open(name: &str, file: File, choice: &Choice) -> Result<(Parquet, Pipe), Error> {
        let unreadable = |source| Error::Unreadable { file: name.to_string(), source };
        let again = || file.try_clone().and_then(|file| builder(file).map_err(io::Error::other));
        let first = again().map_err(unreadable)?;
        let columns: Vec<Column> = first.schema().fields().iter().enumerate().map(column).collect();
        let groups = first.metadata().num_row_groups();
        let total = first.metadata().file_metadata().num_rows().max(0) as u64;
        if total == 0 {
            return Err(Error::Empty { file: name.to_string() });
        }
        let table = Table { columns: &columns, named: true, file: name, line: 1 };
        let chosen = columns::choose(table, choice)?;
        let shape = shape(&chosen);
        let mut survey = Survey { whole: total <= BATCH as u64, ..Survey::default() };
        for group in (0..groups).step_by(groups.div_ceil(PLACES).max(1)) {
            let builder = again().map_err(unreadable)?;
            // The first piece may run over small groups, so that there are rows to compare.
            let builder = if group == 0 { builder } else { builder.with_row_groups(vec![group]) };
            let batch = read(builder, &chosen)
                .and_then(|mut batches| batches.next().transpose().map_err(io::Error::other));
            let rows = batch
                .map_err(unreadable)?
                .map(|batch| figures(&batch, &shape))
                .transpose()
                .map_err(unreadable)?;
            survey.pieces.push(rows.into_iter().flatten().filter_map(Result::ok).collect());
        }
        survey.lines = (1..=survey.pieces.first().map_or(0, Vec::len) as u64).collect();
        let pipe = Pipe::new(&chosen, &survey, choice, Place { file: name, line: 1 })?;
        let batches = read(first, &chosen).map_err(unreadable)?;
        Ok((Parquet { batches, shape, done: 0, total }, pipe))
    }

    /// Reads one batch; `false` when there is none left.
    pub(crate) fn read(&mut self, pipe: &mut Pipe, out: &mut Vec<Row>) -> io::Result<bool> {
        let Some(batch) = self.batches.next().transpose().map_err(io::Error::other)? else {
            return Ok(false);
        };
        for row in figures(&batch, &self.shape)? {
            self.done += 1;
            match row {
                Ok(figures) => pipe.row(self.done, &figures, out),
                Err(fault) => pipe.bad(self.done, fault, out),
            }
        }
        Ok(true)
    }

    /// How far reading has come, 0 to 1.
    pub(crate) fn share(&self) -> f64 {
        self.done as f64 / self.total.max(1) as f64
    }
}

fn builder(file: File) -> parquet::errors::Result<ParquetRecordBatchReaderBuilder<File>> {
    ParquetRecordBatchReaderBuilder::try_new(file)
}

fn column((index, field): (usize, &std::sync::Arc<Field>)) -> Column {
    let stamp = match field.data_type() {
        DataType::Timestamp(TimeUnit::Second, _) => Some("s"),
        DataType::Timestamp(TimeUnit::Millisecond, _) => Some("ms"),
        DataType::Timestamp(TimeUnit::Microsecond, _) => Some("us"),
        DataType::Timestamp(TimeUnit::Nanosecond, _) => Some("ns"),
        _ => None,
    };
    let named = unit::split(field.name()).1;
    let numeric = field.data_type().is_numeric() || stamp.is_some();
    Column {
        index,
        name: field.name().clone(),
        unit: stamp.map(str::to_string).or(named),
        numeric,
        stamped: false,
    }
}

/// A batch holds only the chosen columns, in their order in the file.
fn shape(columns: &Columns) -> Shape {
    let time = columns.time.as_ref().map(|column| (column.index, Signal::Time));
    let positions = [(columns.command.index, Signal::Command), (columns.feedback.index, Signal::Feedback)];
    let mut order: Vec<(usize, Signal)> = time.into_iter().chain(positions).collect();
    order.sort_unstable();
    order.into_iter().map(|(_, signal)| signal).enumerate().collect()
}

fn read(
    builder: ParquetRecordBatchReaderBuilder<File>,
    columns: &Columns,
) -> io::Result<ParquetRecordBatchReader> {
    let time = columns.time.as_ref().map(|column| column.index);
    let indices = time.into_iter().chain([columns.command.index, columns.feedback.index]);
    let mask = ProjectionMask::roots(builder.parquet_schema(), indices);
    builder.with_projection(mask).with_batch_size(BATCH).build().map_err(io::Error::other)
}

/// The figures of every row of a batch, or what is wrong with it.
fn figures(batch: &RecordBatch, shape: &Shape) -> io::Result<Vec<Result<Figures, Fault>>> {
    let values =
        shape.iter().map(|&(place, signal)| values(batch.column(place)).map(|values| (signal, values)));
    let values: Vec<(Signal, Values)> = values.collect::<io::Result<_>>()?;
    let mut text = String::new();
    let row = |row| {
        let mut figures = Figures::default();
        for (signal, values) in &values {
            figures[*signal as usize] = values.figure(row, &mut text).ok_or_else(|| {
                let text = if text.is_empty() { "null" } else { text.as_str() };
                Fault::Figure { signal: *signal, text: text.into() }
            })?;
        }
        Ok(figures)
    };
    Ok((0..batch.num_rows()).map(row).collect())
}

fn values(array: &ArrayRef) -> io::Result<Values> {
    let wrong = || io::Error::other(format!("a column of {} can't be read", array.data_type()));
    let form = match array.data_type() {
        DataType::Float32 | DataType::Float64 => array.data_type().clone(),
        DataType::Float16 => DataType::Float32,
        DataType::Decimal32(..)
        | DataType::Decimal64(..)
        | DataType::Decimal128(..)
        | DataType::Decimal256(..) => DataType::Float64,
        _ => DataType::Int64,
    };
    let array = cast(array, &form).map_err(io::Error::other)?;
    let any = array.as_any();
    match form {
        DataType::Float32 => any.downcast_ref().cloned().map(Values::Single),
        DataType::Float64 => any.downcast_ref().cloned().map(Values::Double),
        _ => any.downcast_ref().cloned().map(Values::Whole),
    }
    .ok_or_else(wrong)
}

impl Values {
    /// The figure in a row: binary fractions as the shortest decimal that means them. What can't be a
    /// figure is left in `text`; nothing there stands for null.
    fn figure(&self, row: usize, text: &mut String) -> Option<Decimal> {
        text.clear();
        let _ = match self {
            Values::Whole(array) if array.is_valid(row) => {
                return Some(Decimal { mantissa: array.value(row), decimals: 0 });
            }
            Values::Single(array) if array.is_valid(row) => write!(text, "{:e}", array.value(row)),
            Values::Double(array) if array.is_valid(row) => write!(text, "{:e}", array.value(row)),
            _ => return None,
        };
        number::parse(text.as_bytes(), b'.')
    }
}

#[cfg(test)]
#[path = "parquet_tests.rs"]
mod tests;
