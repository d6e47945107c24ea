//! In: a Parquet file. Out: its layout, then the numbers of every row; lines are row numbers from 1.
//!
//! Names, units, options and all processing after the numbers are those of text recordings.

use crate::error::Error;
use crate::trace::choice::Choice;
use crate::trace::columns::{self, Column, Columns, Table};
use crate::trace::decimal::Decimal;
use crate::trace::layout::Signal;
use crate::trace::number;
use crate::trace::place::Place;
use crate::trace::reader::RowReader;
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

/// Rows in a batch. Unit: rows
const BATCH: usize = 4096;

/// Number of places of a long file that are examined before reading, one batch each.
const PLACES: usize = 16;

/// A Parquet recording, open for reading.
pub(crate) struct Parquet {
    batches: ParquetRecordBatchReader,
    shape: Shape,
    /// Rows read. Unit: rows
    done: u64,
    /// Rows of the file. Unit: rows
    total: u64,
}

/// Array indices in a batch, and their signals.
type Shape = Vec<(usize, Signal)>;

/// One column of a batch, in one of three types.
enum Values {
    Whole(Int64Array),
    Single(Float32Array),
    Double(Float64Array),
}

impl Parquet {
    /// Finds the columns, and surveys rows from all parts of the file.
    pub(crate) fn open(name: &str, file: File, choice: &Choice) -> Result<(Parquet, RowReader), Error> {
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
        readable(&chosen, choice).map_err(|wrong| {
            Place { file: name, line: 1 }.error(wrong.to_string(), "export the recording as CSV")
        })?;
        let shape = shape(&chosen);
        let mut survey = Survey { whole: total <= BATCH as u64, ..Survey::default() };
        for group in (0..groups).step_by(groups.div_ceil(PLACES).max(1)) {
            let builder = again().map_err(unreadable)?;
            // The first piece may span several small groups, so that there are rows to compare.
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
        let mut reader = RowReader::new(&chosen, &survey, choice, Place { file: name, line: 1 })?;
        reader.note_sampled();
        let batches = read(first, &chosen).map_err(unreadable)?;
        Ok((Parquet { batches, shape, done: 0, total }, reader))
    }

    /// Reads one batch; `false` at the end.
    pub(crate) fn read(&mut self, reader: &mut RowReader, out: &mut Vec<Row>) -> io::Result<bool> {
        let Some(batch) = self.batches.next().transpose().map_err(io::Error::other)? else {
            return Ok(false);
        };
        for row in figures(&batch, &self.shape)? {
            self.done += 1;
            match row {
                Ok(figures) => reader.row(self.done, &figures, out),
                Err(fault) => reader.bad(self.done, fault, out),
            }
        }
        Ok(true)
    }

    /// Share of the rows read, 0 to 1.
    pub(crate) fn share(&self) -> f64 {
        self.done as f64 / self.total.max(1) as f64
    }
}

/// What only text can hold is refused.
fn readable(chosen: &Columns, choice: &Choice) -> Result<(), &'static str> {
    if choice.effort.is_some() {
        return Err("--effort is given, but the effort can be read from text only");
    }
    match (chosen.feedback_time.is_some(), choice.job.is_some()) {
        (true, _) => Err("command and feedback have a time column each, which can be read from text only"),
        (_, true) => Err("--job is given, but the job can be read from text only"),
        (false, false) => Ok(()),
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
        ..Column::default()
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

/// The numbers of every row of a batch, or its fault.
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
    /// The number in a row; a binary fraction becomes the shortest decimal that represents it. Otherwise `None`, with the
    /// value in `text`, which is empty for null.
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
mod tests {
    use super::*;
    use crate::trace::Trace;
    use arrow::array::{Int32Array, StringArray, TimestampMicrosecondArray};
    use parquet::arrow::ArrowWriter;
    use parquet::file::properties::WriterProperties;
    use std::path::PathBuf;
    use std::sync::Arc;

    fn write(name: &str, columns: Vec<(&str, ArrayRef)>) -> PathBuf {
        let path = std::env::temp_dir().join(format!("stillpoint-{name}-{}.parquet", std::process::id()));
        let batch = RecordBatch::try_from_iter(columns).unwrap();
        let small = WriterProperties::builder().set_max_row_group_row_count(Some(3)).build();
        let mut writer =
            ArrowWriter::try_new(File::create(&path).unwrap(), batch.schema(), Some(small)).unwrap();
        writer.write(&batch).unwrap();
        writer.close().unwrap();
        path
    }

    fn run(path: PathBuf, choice: &Choice) -> Result<(Trace, String), String> {
        let read = || {
            let mut trace = Trace::open(&path, choice)?;
            let (mut out, mut rows) = (String::new(), Vec::new());
            while trace.next_block(&mut rows)? {
                for row in &rows {
                    let _ = match row {
                        Row::Reading { line, reading } => {
                            write!(out, "{line}:{}/{}/{} ", reading.tick, reading.command, reading.feedback)
                        }
                        Row::Gap { line, fault } => write!(out, "{line}!{fault} "),
                        Row::Clock { line, tick, second } => write!(out, "{line}@{tick}={second} "),
                        Row::Job { line, job } => write!(out, "{line}#{job} "),
                        Row::Effort { line, effort } => write!(out, "{line}~{effort} "),
                    };
                }
            }
            Ok((trace, out))
        };
        let read = read().map_err(|error: Error| error.to_string());
        let size = path.metadata().unwrap().len();
        std::fs::remove_file(&path).unwrap();
        if let Ok((trace, _)) = &read {
            assert_eq!(trace.bytes_read(), size);
        }
        read
    }

    #[test]
    fn every_type_of_number_is_read() {
        let doubles = |values: &[f64]| Arc::new(Float64Array::from(values.to_vec())) as ArrayRef;
        let command = Arc::new(Int32Array::from(vec![0, 1, 2, 3])) as ArrayRef;
        let feedback = Arc::new(Float32Array::from(vec![0.0, 0.1, 0.25, 3.0])) as ArrayRef;
        let words = Arc::new(StringArray::from(vec!["a", "b", "c", "d"])) as ArrayRef;
        let stamps =
            Arc::new(TimestampMicrosecondArray::from(vec![7_000_000, 7_001_000, 7_002_000, 7_003_000]))
                as ArrayRef;
        let expected = |second| format!("1@0={second} 1:0/0/0 2:1000/100/10 3:2000/200/25 4:3000/300/300 ");
        let floating = doubles(&[1.5, 1.501, 1.502, 1.503]);
        let columns = |time| {
            vec![
                ("note", words.clone()),
                ("actual_mm", feedback.clone()),
                ("time", time),
                ("ref", command.clone()),
            ]
        };
        let (trace, rows) = run(write("kinds", columns(floating)), &Choice::default()).unwrap();
        assert_eq!(rows, expected("1.5"));
        assert_eq!(trace.layout().unit, "mm");
        let (_, rows) = run(write("stamps", columns(stamps)), &Choice::default()).unwrap();
        assert_eq!(rows, expected("7"));
    }

    #[test]
    fn nulls_and_non_numbers_are_gaps() {
        let time = Arc::new(Int64Array::from(vec![0, 1, 2, 3, 4])) as ArrayRef;
        let command = Arc::new(Int64Array::from(vec![Some(0), None, Some(2), Some(3), Some(4)])) as ArrayRef;
        let feedback = Arc::new(Float64Array::from(vec![0.0, 1.0, f64::NAN, f64::INFINITY, 4.0])) as ArrayRef;
        let path = write("gaps", vec![("t_ms", time), ("cmd", command), ("fb", feedback)]);
        let (trace, rows) = run(path, &Choice::default()).unwrap();
        let gaps =
            "2!command holds 'null', which is not a number 3!feedback holds 'NaN', which is not a number";
        assert_eq!(
            rows,
            format!("1@0=0 1:0/0/0 {gaps} 4!feedback holds 'inf', which is not a number 5:4000/4/4 ")
        );
        assert_eq!(trace.faults().count, 3);
    }

    #[test]
    fn unreadable_files_say_why() {
        let cells = || Arc::new(Int32Array::from(vec![0, 1, 2])) as ArrayRef;
        let path = write("missing", vec![("cmd", cells()), ("fb", cells())]);
        let message = run(path, &Choice::default()).map(|read| read.1).unwrap_err();
        assert!(message.contains("no time column") && message.contains("--rate"), "{message}");
        let path = std::env::temp_dir().join(format!("stillpoint-torn-{}.parquet", std::process::id()));
        std::fs::write(&path, b"PAR1 and nothing more").unwrap();
        let message = run(path, &Choice::default()).map(|read| read.1).unwrap_err();
        assert!(message.contains("can't be read"), "{message}");
    }
}
