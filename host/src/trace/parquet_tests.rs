//! In: Parquet files written here. Out: whether they read as the same text would.

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
    let mut writer = ArrowWriter::try_new(File::create(&path).unwrap(), batch.schema(), Some(small)).unwrap();
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
fn every_kind_of_number_is_read() {
    let doubles = |values: &[f64]| Arc::new(Float64Array::from(values.to_vec())) as ArrayRef;
    let command = Arc::new(Int32Array::from(vec![0, 1, 2, 3])) as ArrayRef;
    let feedback = Arc::new(Float32Array::from(vec![0.0, 0.1, 0.25, 3.0])) as ArrayRef;
    let words = Arc::new(StringArray::from(vec!["a", "b", "c", "d"])) as ArrayRef;
    let stamps = Arc::new(TimestampMicrosecondArray::from(vec![7_000_000, 7_001_000, 7_002_000, 7_003_000]))
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
fn nulls_and_no_numbers_are_gaps() {
    let time = Arc::new(Int64Array::from(vec![0, 1, 2, 3, 4])) as ArrayRef;
    let command = Arc::new(Int64Array::from(vec![Some(0), None, Some(2), Some(3), Some(4)])) as ArrayRef;
    let feedback = Arc::new(Float64Array::from(vec![0.0, 1.0, f64::NAN, f64::INFINITY, 4.0])) as ArrayRef;
    let path = write("gaps", vec![("t_ms", time), ("cmd", command), ("fb", feedback)]);
    let (trace, rows) = run(path, &Choice::default()).unwrap();
    let gaps = "2!command holds 'null', which is no figure 3!feedback holds 'NaN', which is no figure";
    assert_eq!(rows, format!("1@0=0 1:0/0/0 {gaps} 4!feedback holds 'inf', which is no figure 5:4000/4/4 "));
    assert_eq!(trace.faults().count, 3);
}

#[test]
fn what_can_not_be_read_says_why() {
    let cells = || Arc::new(Int32Array::from(vec![0, 1, 2])) as ArrayRef;
    let path = write("missing", vec![("cmd", cells()), ("fb", cells())]);
    let message = run(path, &Choice::default()).map(|read| read.1).unwrap_err();
    assert!(message.contains("no time column") && message.contains("--rate"), "{message}");
    let path = std::env::temp_dir().join(format!("stillpoint-torn-{}.parquet", std::process::id()));
    std::fs::write(&path, b"PAR1 and nothing more").unwrap();
    let message = run(path, &Choice::default()).map(|read| read.1).unwrap_err();
    assert!(message.contains("can't be read"), "{message}");
}
