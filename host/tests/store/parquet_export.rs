//! Parquet: every column has the name, type, unit and meaning of its field, and every row its values.

use std::fs::File;

use arrow::array::{Array, Float64Array, Int64Array, StringArray};
use arrow::datatypes::{DataType, SchemaRef};
use arrow::record_batch::RecordBatch;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use stillpoint::report::field::{Field, Form, Value};
use stillpoint::report::move_report::{FIELDS, KIND, MoveReport};
use stillpoint::store::export::SUMMARY_FIELDS;

use super::*;

fn read(file: &Path) -> (SchemaRef, Vec<RecordBatch>) {
    let file = File::open(file).expect("a file");
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).expect("Parquet");
    let schema = builder.schema().clone();
    let batches = builder.build().expect("a reader").map(|batch| batch.expect("rows"));
    (schema, batches.collect())
}

/// A cell as it was read back; none if it is null.
#[derive(Debug, PartialEq)]
enum Cell {
    Text(String),
    Whole(Option<i64>),
    Number(Option<f64>),
}

fn cells(column: &dyn Array) -> Vec<Cell> {
    let rows = 0..column.len();
    let any = column.as_any();
    if let Some(texts) = any.downcast_ref::<StringArray>() {
        assert_eq!(texts.null_count(), 0);
        return rows.map(|row| Cell::Text(texts.value(row).to_owned())).collect();
    }
    if let Some(whole) = any.downcast_ref::<Int64Array>() {
        return rows.map(|row| Cell::Whole(whole.is_valid(row).then(|| whole.value(row)))).collect();
    }
    let numbers = any.downcast_ref::<Float64Array>().expect("one of three types");
    rows.map(|row| Cell::Number(numbers.is_valid(row).then(|| numbers.value(row)))).collect()
}

/// The cell that a value must be read back as.
fn expected(value: Value) -> Cell {
    match value {
        Value::Text(text) => Cell::Text(text.unwrap_or_default().to_owned()),
        Value::Whole(number) => Cell::Whole(number),
        Value::Number(number) => Cell::Number(number),
        Value::Curve(_) => panic!("a list has no column"),
    }
}

/// Columns and rows of the file are those of `fields` and `rows`, and nothing else.
#[track_caller]
fn check<R>(file: &Path, fields: &[&Field<R>], rows: &[R]) {
    let (schema, batches) = read(file);
    assert_eq!(schema.fields().len(), fields.len());
    for (place, field) in fields.iter().enumerate() {
        let column = schema.field(place);
        let form = match field.form {
            Form::Whole => DataType::Int64,
            Form::Number => DataType::Float64,
            Form::Text | Form::Curve => DataType::Utf8,
        };
        assert_eq!((column.name().as_str(), column.data_type()), (field.name, &form));
        for (key, text) in [("unit", field.unit), ("meaning", field.meaning)] {
            assert_eq!(column.metadata().get(key).map(String::as_str), Some(text), "{key} of {}", field.name);
        }
        let found: Vec<Cell> = batches.iter().flat_map(|batch| cells(batch.column(place))).collect();
        let expected: Vec<Cell> = rows.iter().map(|row| expected((field.value)(row))).collect();
        assert_eq!(found, expected, "{}", field.name);
    }
}

#[test]
fn every_column_is_read_back_as_its_field() {
    let (place, file) = (Scratch::new("columns"), Scratch::new("columns.parquet"));
    let mut log = place.log(&Options::default());
    push(&mut log, &Line::new(50).run(150), BEGIN);
    let (store, _) = log.finish().expect("room");
    let create = || File::create(&file.0).expect("a file");

    let count = store.export_moves_as_parquet(&MoveQuery::default(), create()).expect("room");
    let mut moves: Vec<MoveReport> = vec![];
    store
        .moves(&MoveQuery::default(), &mut |report| {
            moves.push(report.clone());
            Ok(())
        })
        .expect("moves");
    assert!(moves.len() > 60 && count as usize == moves.len(), "{count} moves");
    assert!(moves.iter().any(|report| report.kind.is_some() && report.settling_s.is_some()));
    let fields = FIELDS.iter().filter(|field| field.name != "settling_curve").chain([&KIND]);
    check(&file.0, &fields.collect::<Vec<_>>(), &moves);

    let count = store.export_summaries_as_parquet(&MoveQuery::default(), create()).expect("room");
    let mut summaries = vec![];
    store
        .summary_rows(&MoveQuery::default(), &mut |row| {
            summaries.push(row.clone());
            Ok(())
        })
        .expect("summaries");
    assert!(summaries.len() >= 9 && count as usize == summaries.len(), "{count} summaries");
    check(&file.0, &SUMMARY_FIELDS.iter().collect::<Vec<_>>(), &summaries);
}
