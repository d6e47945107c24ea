//! The committed figures and recordings are all there, and are those that were committed.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use stillpoint_tests::published::rows;

fn tests() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Files below a folder with the CRC-32 of their bytes.
fn read(folder: &Path, found: &mut BTreeMap<String, String>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            read(&path, found);
        } else {
            let name = path.strip_prefix(tests()).expect("below tests").to_string_lossy().replace('\\', "/");
            let crc = crc32fast::hash(&fs::read(&path).expect("a readable file"));
            found.insert(name, format!("{crc:08x}"));
        }
    }
}

/// Who adds or mends a file writes its row into `tests/contents.csv`.
#[test]
fn every_file_of_the_contents_is_there_unchanged_and_no_other() {
    let mut found = BTreeMap::new();
    read(&tests().join("published"), &mut found);
    read(&tests().join("recordings"), &mut found);
    let contents = rows("contents.csv");
    let listed: BTreeMap<String, String> =
        contents.iter().map(|row| (row.text("path").to_owned(), row.text("crc32").to_owned())).collect();
    assert!(listed.len() > 100, "{} files are listed", listed.len());
    let missing: Vec<_> = listed.iter().filter(|(path, crc)| found.get(*path) != Some(crc)).collect();
    let unlisted: Vec<_> = found.iter().filter(|(path, _)| !listed.contains_key(*path)).collect();
    assert!(missing.is_empty(), "missing or changed: {missing:#?}");
    assert!(unlisted.is_empty(), "not listed: {unlisted:#?}");
}
