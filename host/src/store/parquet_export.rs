//! In: a store and a time. Out: its moves or summaries as Parquet; every column has its unit and meaning as metadata.

use std::collections::HashMap;
use std::io::Write;
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, Int64Array, RecordBatch, StringArray};
use arrow::datatypes::{self, DataType, Schema};
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::properties::WriterProperties;

use super::database::Store;
use super::export::SUMMARY_FIELDS;
use super::moves::MoveQuery;
use crate::error::Error;
use crate::report::field::{Field, Form, Value};
use crate::report::move_report::{MoveReport, stored_fields};

/// Rows written at a time.
const GROUP: usize = 65_536;

/// The fields of moves that become columns: all but the settling curve, which is a list.
fn move_columns() -> impl Iterator<Item = &'static Field<MoveReport>> {
    stored_fields().filter(|field| field.form != Form::Curve)
}

/// Collects rows and writes them in groups.
struct Rows<R: 'static, W: Write + Send> {
    fields: Vec<&'static Field<R>>,
    schema: Arc<Schema>,
    writer: ArrowWriter<W>,
    rows: Vec<R>,
    count: u64,
}

fn output_error(error: impl std::error::Error + Send + Sync + 'static) -> Error {
    Error::from(std::io::Error::other(error))
}

impl<R: Clone, W: Write + Send> Rows<R, W> {
    fn new(fields: Vec<&'static Field<R>>, out: W) -> Result<Rows<R, W>, Error> {
        let columns: Vec<datatypes::Field> = fields.iter().map(|field| column(field)).collect();
        let schema = Arc::new(Schema::new(columns));
        let properties = WriterProperties::builder().set_compression(Compression::SNAPPY).build();
        let writer = ArrowWriter::try_new(out, schema.clone(), Some(properties)).map_err(output_error)?;
        Ok(Rows { fields, schema, writer, rows: Vec::new(), count: 0 })
    }

    fn push(&mut self, row: &R) -> Result<(), Error> {
        self.count += 1;
        self.rows.push(row.clone());
        if self.rows.len() < GROUP { Ok(()) } else { self.write() }
    }

    fn write(&mut self) -> Result<(), Error> {
        let arrays = self.fields.iter().map(|field| array(field, &self.rows)).collect();
        let batch = RecordBatch::try_new(self.schema.clone(), arrays).map_err(output_error)?;
        self.rows.clear();
        self.writer.write(&batch).map_err(output_error)
    }

    fn finish(mut self) -> Result<u64, Error> {
        self.write()?;
        self.writer.close().map_err(output_error)?;
        Ok(self.count)
    }
}

/// Name, type, unit and meaning of a field.
fn column<R>(field: &Field<R>) -> datatypes::Field {
    let form = match field.form {
        Form::Text | Form::Curve => DataType::Utf8,
        Form::Whole => DataType::Int64,
        Form::Number => DataType::Float64,
    };
    let metadata = [("unit", field.unit), ("meaning", field.meaning)];
    let metadata: HashMap<String, String> =
        metadata.map(|(key, text)| (key.to_owned(), text.to_owned())).into();
    datatypes::Field::new(field.name, form, true).with_metadata(metadata)
}

/// The values of a field in all rows.
fn array<R>(field: &Field<R>, rows: &[R]) -> ArrayRef {
    let values = rows.iter().map(|row| (field.value)(row));
    match field.form {
        Form::Text | Form::Curve => Arc::new(StringArray::from_iter_values(values.map(text))),
        Form::Whole => Arc::new(Int64Array::from_iter(values.map(whole))),
        Form::Number => Arc::new(Float64Array::from_iter(values.map(number))),
    }
}

/// Text; empty where there is none, as in CSV.
fn text(value: Value<'_>) -> &str {
    if let Value::Text(Some(text)) = value { text } else { "" }
}

fn whole(value: Value) -> Option<i64> {
    if let Value::Whole(number) = value { number } else { None }
}

fn number(value: Value) -> Option<f64> {
    if let Value::Number(number) = value { number } else { None }
}

impl Store {
    /// Writes moves as Parquet, without settling curves. Returns how many.
    pub fn export_moves_as_parquet(&self, query: &MoveQuery, out: impl Write + Send) -> Result<u64, Error> {
        let mut rows = Rows::new(move_columns().collect(), out)?;
        self.moves(&MoveQuery { details: true, ..query.clone() }, &mut |report| rows.push(report))?;
        rows.finish()
    }

    /// Writes summaries as Parquet. Returns how many.
    pub fn export_summaries_as_parquet(
        &self,
        query: &MoveQuery,
        out: impl Write + Send,
    ) -> Result<u64, Error> {
        let mut rows = Rows::new(SUMMARY_FIELDS.iter().collect(), out)?;
        self.summary_rows(query, &mut |row| rows.push(row))?;
        rows.finish()
    }
}
