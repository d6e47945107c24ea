//! In: the name of a published table or a recording. Out: its path, its rows or its JSON.
//!
//! `tests/published` and `tests/recordings` are part of the repository; a file that is missing fails the test.

use std::path::{Path, PathBuf};

/// The path of a file or folder such as `published/06_crc.csv`; panics if it is missing.
#[track_caller]
pub fn path(name: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    assert!(path.exists(), "tests/{name} is missing");
    path
}

/// The content of a published JSON file.
#[track_caller]
pub fn json(name: &str) -> serde_json::Value {
    let text = std::fs::read_to_string(path(name)).expect("a published file is readable");
    serde_json::from_str(&text).expect("a published file is JSON")
}

/// Numbers of a published list.
pub fn numbers(list: &serde_json::Value) -> Vec<f64> {
    list.as_array().expect("a list").iter().map(|number| number.as_f64().expect("a number")).collect()
}

/// Fails unless the found value is the published one within the tolerance.
#[track_caller]
pub fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, published {expected}");
}

/// Half a unit of the last printed digit, with room for rounding.
pub fn print(text: &str) -> f64 {
    let decimals = text.split_once('.').map_or(0, |(_, decimals)| decimals.len() as i32);
    0.500_001 * f64::powi(10.0, -decimals)
}

/// Rows of a published CSV file by column name.
#[track_caller]
pub fn rows(name: &str) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_path(path(name)).expect("readable");
    let header = reader.headers().expect("a header").clone();
    let rows = reader.records().map(|record| Row { header: header.clone(), record: record.expect("a row") });
    let rows: Vec<Row> = rows.collect();
    assert!(!rows.is_empty(), "tests/{name} has no rows");
    rows
}

/// One row with its header.
pub struct Row {
    header: csv::StringRecord,
    record: csv::StringRecord,
}

impl Row {
    /// The cell in a column.
    pub fn text(&self, column: &str) -> &str {
        let index = self.header.iter().position(|name| name == column);
        index.and_then(|index| self.record.get(index)).unwrap_or_else(|| panic!("no column {column}"))
    }

    /// The cell as a number.
    pub fn number(&self, column: &str) -> f64 {
        let text = self.text(column);
        text.parse().unwrap_or_else(|_| panic!("{column}: {text} is not a number"))
    }
}
