//! In: the sources of the host. Out: whether text leaves the program only by the one place for each way.

use std::path::{Path, PathBuf};

/// What writes, and the files that may.
const WAYS: [(&[&str], &[&str]); 5] = [
    (&["println!(", "print!(", "dbg!("], &[]),
    (&["stdout().write", "(io::stdout(), ", "= io::stdout()"], &["cmd/output.rs"]),
    (&["stderr(), "], &["cmd/output.rs"]),
    (&["serde_json::to_", "Value::Object("], &["report/json.rs"]),
    (&["csv::Writer::from"], &["report/csv.rs"]),
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        match path.is_dir() {
            true => sources(&path, found),
            false => found.push(path),
        }
    }
}

/// Lines of a source that write by a way that it may not take, without its tests.
fn others(file: &str, text: &str) -> Vec<String> {
    let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let is_other = |line: &&str| {
        WAYS.iter()
            .any(|(words, files)| !files.contains(&file) && words.iter().any(|word| line.contains(word)))
    };
    code.lines().filter(is_other).map(|line| format!("{file}: {}", line.trim())).collect()
}

#[test]
fn each_way_out_has_one_place() {
    let (root, mut files) = (Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), Vec::new());
    sources(&root, &mut files);
    let mut found = Vec::new();
    for file in files.iter().filter(|file| file.extension().is_some_and(|extension| extension == "rs")) {
        let name = file.strip_prefix(&root).expect("below").display().to_string();
        if !name.ends_with("tests.rs") {
            found.extend(others(&name, &std::fs::read_to_string(file).expect("a source")));
        }
    }
    assert!(files.len() > 200 && found.is_empty(), "{found:#?}");
    assert_eq!(
        others("cmd/moves.rs", "fn f() {\n    println!(\"{name}\");\n}"),
        ["cmd/moves.rs: println!(\"{name}\");"]
    );
}
