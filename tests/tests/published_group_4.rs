//! Which test checks which entry of published group 04: `published_group_4.csv`, printed and held against both.
//!
//! An entry that no row names fails, and so does a row whose entry is gone or whose test doesn't name it: a file
//! that grows is noticed. How an entry is checked is for its test to show. Roles: `checked` against what our code
//! gives, `given` to our code, `words` for people, `without` a counterpart in the product and so not checked.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde::Deserialize;
use serde_json::Value;
use stillpoint_tests::published::{json, path};

#[derive(Debug, Deserialize)]
struct Row {
    file: String,
    entry: String,
    role: String,
    test_or_reason: String,
    source: String,
}

fn table() -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(include_bytes!("published_group_4.csv").as_slice());
    reader.deserialize().map(|row| row.expect("five columns")).collect()
}

/// Names of all leaves; a list of numbers is one, and cases of a list go by the same names.
fn leaves(value: &Value, path: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(entries) => entries.iter().for_each(|(name, value)| {
            let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
            leaves(value, &path, found);
        }),
        Value::Array(items) if items.iter().any(|item| item.is_object() || item.is_array()) => {
            items.iter().for_each(|item| leaves(item, path, found));
        }
        Value::Null => (),
        _ => _ = found.insert(path.to_owned()),
    }
}

/// Entries of a file: columns, or leaves below its list of cases.
fn entries(folder: &Path, file: &str) -> BTreeSet<String> {
    if file.ends_with(".csv") {
        let mut reader = csv::Reader::from_path(folder.join(file)).expect("readable");
        return reader.headers().expect("a header").iter().map(str::to_owned).collect();
    }
    let mut found = BTreeSet::new();
    leaves(&json(&format!("published/{file}")), "", &mut found);
    let short = |name: String| {
        let list = ["cases.", "sets."].into_iter().find_map(|list| name.strip_prefix(list));
        list.map_or(name.clone(), str::to_owned)
    };
    found.into_iter().map(short).collect()
}

/// Whether a row's entry is this one or holds it.
fn covers(row: &Row, entry: &str) -> bool {
    entry.strip_prefix(row.entry.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
}

/// A test `file::function` with what stands about it, but for the file's other tests.
fn body(test: &str) -> String {
    let (file, function) = test.split_once("::").unwrap_or_else(|| panic!("{test}: no file::function"));
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(file).with_extension("rs");
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{test}: {error}"));
    let mut parts = text.split("#[test]\n");
    let mut body = parts.next().unwrap_or_default().to_owned();
    let mut found = false;
    for part in parts {
        let own = part.starts_with(&format!("fn {function}() {{\n"));
        found |= own;
        body += if own { part } else { part.split_once("\n}\n").map_or("", |(_, after)| after) };
    }
    assert!(found, "no test {test}");
    body
}

/// Fails unless the test reads the file and names the entry.
fn named(row: &Row) {
    let body = body(&row.test_or_reason);
    let name = row.entry.rsplit('.').next().unwrap_or_default();
    let whole = |(at, _): (usize, &str)| {
        let edge =
            |letter: Option<char>| letter.is_none_or(|letter| !letter.is_alphanumeric() && letter != '_');
        edge(body[..at].chars().next_back()) && edge(body[at + name.len()..].chars().next())
    };
    assert!(body.contains(&format!("published/{}\"", row.file)), "{row:?}: the file is not read");
    assert!(body.match_indices(name).any(whole), "{row:?}: the entry is not named");
}

#[test]
fn every_entry_has_its_row_and_every_row_its_entry() {
    let folder = path("published");
    let listed = std::fs::read_dir(&folder).expect("a folder").map(|file| file.expect("a file").file_name());
    let files = listed.map(|name| name.to_string_lossy().into_owned());
    let files: BTreeSet<String> = files.filter(|name| name.starts_with("04_")).collect();
    let (table, mut counts) = (table(), BTreeMap::new());
    for file in &files {
        let entries = entries(&folder, file);
        for entry in &entries {
            let mut roles: Vec<&str> = table
                .iter()
                .filter(|row| row.file == *file && covers(row, entry))
                .map(|row| row.role.as_str())
                .collect();
            roles.sort_unstable();
            roles.dedup();
            assert_eq!(roles.len(), 1, "{file}: {entry} has the roles {roles:?}");
            *counts.entry(roles[0].to_owned()).or_insert(0) += 1;
        }
        let gone =
            table.iter().find(|row| row.file == *file && !entries.iter().any(|entry| covers(row, entry)));
        assert!(gone.is_none(), "{gone:?} is in the table only");
    }
    for row in &table {
        assert!(files.contains(&row.file), "{row:?}: no such file");
        match row.role.as_str() {
            "checked" => {
                assert!(!row.source.is_empty(), "{row:?}: no source");
                named(row);
            }
            "given" => named(row),
            "without" => assert!(!row.test_or_reason.is_empty(), "{row:?}: no reason"),
            other => assert_eq!(other, "words", "{row:?}"),
        }
        let Row { file, entry, role, test_or_reason, source } = row;
        let role = if role == "without" { "no counterpart in the product, not checked:" } else { role };
        println!("{file:31} {entry:45} {role} {test_or_reason}  {source}");
    }
    println!("entries: {counts:?}");
}
