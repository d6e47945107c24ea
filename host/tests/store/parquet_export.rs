//! Parquet: the same figures as CSV, each column with its unit.

use std::fs::File;

use arrow::array::{Array, Float64Array, StringArray};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use super::*;

/// Columns with their units, and the rows of one text and one figure.
fn read(file: &Path, text: &str, figure: &str) -> (Vec<(String, String)>, Vec<(String, Option<f64>)>) {
    let builder =
        ParquetRecordBatchReaderBuilder::try_new(File::open(file).expect("a file")).expect("Parquet");
    let unit = |field: &arrow::datatypes::Field| field.metadata().get("unit").cloned().expect("a unit");
    let fields = builder.schema().fields().iter().map(|field| (field.name().clone(), unit(field))).collect();
    let mut rows = vec![];
    for batch in builder.build().expect("a reader") {
        let batch = batch.expect("rows");
        let column = |name| batch.column_by_name(name).expect("a column");
        let texts = column(text).as_any().downcast_ref::<StringArray>().expect("text");
        let figures = column(figure).as_any().downcast_ref::<Float64Array>().expect("figures");
        rows.extend(
            (0..batch.num_rows())
                .map(|row| (texts.value(row).to_owned(), figures.is_valid(row).then(|| figures.value(row)))),
        );
    }
    (fields, rows)
}

#[test]
fn columns_have_units_and_the_same_figures() {
    let (place, file) = (Scratch::new("columns"), Scratch::new("columns.parquet"));
    let mut log = place.log(&Options::default());
    hear(&mut log, &Line::new(50).run(150), BEGIN);
    let (store, _) = log.finish().expect("room");
    let create = || File::create(&file.0).expect("a file");
    store.export_move_columns(&Ask::default(), create()).expect("room");
    let mut expected = vec![];
    store
        .moves(&Ask::default(), &mut |line| {
            expected.push((line.axis.clone(), line.settling_s));
            Ok(())
        })
        .expect("moves");
    let (fields, rows) = read(&file.0, "axis", "settling_s");
    assert!(rows.len() > 60 && rows == expected);
    let has = |name: &str, unit: &str| fields.contains(&(name.to_owned(), unit.to_owned()));
    assert!(has("settling_s", "s") && has("travel", "unit") && has("peak_speed", "unit/s"), "{fields:?}");

    store.export_summary_columns(&Ask::default(), create()).expect("room");
    let mut expected = vec![];
    store
        .summary_lines(&Ask::default(), &mut |line| {
            expected.push((line.at.clone(), line.settling[4]));
            Ok(())
        })
        .expect("summaries");
    let (fields, rows) = read(&file.0, "at", "p95_s");
    assert!(rows.len() >= 9 && rows == expected);
    assert!(fields.contains(&("p95_s".to_owned(), "s".to_owned())), "{fields:?}");
}
