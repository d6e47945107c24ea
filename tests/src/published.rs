//! In: the name of a published table. Out: its rows, or a plain word that the check is skipped.

use std::path::{Path, PathBuf};

/// The folder or file beside the repository, if it is there.
pub fn shared(path: &str) -> Option<PathBuf> {
    let found = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../shared")).join(path);
    if found.exists() {
        return Some(found);
    }
    eprintln!("SKIPPED: shared/{path} is not beside this repository; nothing was checked against it");
    None
}

/// A published JSON file.
pub fn json(path: &str) -> Option<serde_json::Value> {
    let text = std::fs::read_to_string(shared(path)?).expect("a published file is readable");
    Some(serde_json::from_str(&text).expect("a published file is JSON"))
}

/// Numbers of a published list.
pub fn numbers(list: &serde_json::Value) -> Vec<f64> {
    list.as_array().expect("a list").iter().map(|number| number.as_f64().expect("a number")).collect()
}

/// Fails unless what was found is what was published.
#[track_caller]
pub fn near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, published {expected}");
}

/// Half a unit of the last digit that was printed.
pub fn print(text: &str) -> f64 {
    let decimals = text.split_once('.').map_or(0, |(_, decimals)| decimals.len() as i32);
    0.500_001 * f64::powi(10.0, -decimals)
}

/// Rows of a published CSV file by column name.
pub fn rows(path: &str) -> Option<Vec<Row>> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_path(shared(path)?).expect("readable");
    let header = reader.headers().expect("a header").clone();
    let rows = reader.records().map(|record| Row { header: header.clone(), record: record.expect("a row") });
    Some(rows.collect())
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
