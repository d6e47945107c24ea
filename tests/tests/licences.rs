//! Dependencies and data may be shipped beside MIT OR Apache-2.0: the licence of each is on this list, its notice beside it.

use std::path::{Path, PathBuf};
use std::process::Command;

use stillpoint_tests::published::path;

/// Permissive, or in the public domain. Source: the SPDX licence list.
const FINE: [&str; 13] = [
    "MIT",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "0BSD",
    "CC0-1.0",
    "Unlicense",
    "Unicode-3.0",
    "BSL-1.0",
    "MIT-0",
];

/// Under MPL-2.0, which binds the files of these packages only. They are used unchanged, and only with `--features probe`.
const UNCHANGED: [&str; 3] = ["alterable_logger", "colored", "serialport"];

/// Whether an SPDX expression can be met by the list; `AND` binds closer than `OR`.
fn is_fine(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ").replace(['(', ')'], "");
    expression.split(" OR ").any(|choice| choice.split(" AND ").all(|licence| FINE.contains(&licence.trim())))
}

#[test]
fn every_dependency_has_a_licence_that_fits() {
    let arguments = ["metadata", "--format-version", "1", "--locked", "--all-features"];
    let output = Command::new(env!("CARGO")).args(arguments).output().expect("cargo lists the dependencies");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    let unfit: Vec<String> = packages
        .iter()
        .filter(|package| !package["license"].as_str().is_some_and(is_fine))
        .filter(|package| {
            let listed = package["name"].as_str().is_some_and(|name| UNCHANGED.contains(&name));
            !listed || package["license"] != "MPL-2.0"
        })
        .map(|package| format!("{} {}: {}", package["name"], package["version"], package["license"]))
        .collect();
    assert!(packages.len() > 50, "all dependencies are listed");
    assert!(unfit.is_empty(), "{unfit:#?}");
}

#[test]
fn expressions_are_read_as_spdx_writes_them() {
    for (expression, fine) in [
        ("MIT OR Apache-2.0", true),
        ("MIT/Apache-2.0", true),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
        ("GPL-3.0-only", false),
        ("MPL-2.0", false),
        ("MIT AND GPL-3.0-only", false),
        ("LGPL-2.1-or-later OR MIT", true),
    ] {
        assert_eq!(is_fine(expression), fine, "{expression}");
    }
}

fn text(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Files and folders in a folder.
fn entries(folder: &Path) -> Vec<PathBuf> {
    let entries = folder.read_dir().unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    entries.map(|entry| entry.expect("an entry").path()).collect()
}

fn name(path: &Path) -> String {
    path.file_name().expect("a name").to_string_lossy().into_owned()
}

#[test]
fn every_recording_lies_beside_its_notice() {
    let folder = path("recordings");
    let sources = text(&folder.join("README.md"));
    let folders: Vec<PathBuf> = entries(&folder).into_iter().filter(|entry| entry.is_dir()).collect();
    assert_eq!(folders.len(), 2, "{folders:?}");
    for folder in &folders {
        let notice = text(&folder.join("LICENSE.txt"));
        assert!(notice.starts_with("MIT License\n\nCopyright (c) "), "{}", folder.display());
        assert!(notice.contains("The above copyright notice and this permission notice shall be included"));
        let row = sources.lines().find(|line| line.starts_with(&format!("| `{}` |", name(folder))));
        let row = row.unwrap_or_else(|| panic!("{} is not in README.md", folder.display()));
        assert!(row.contains(&format!("MIT, `{}/LICENSE.txt`", name(folder))), "{row}");
    }
    let loose: Vec<PathBuf> = entries(&folder).into_iter().filter(|entry| entry.is_file()).collect();
    assert_eq!(loose, [folder.join("README.md")], "recordings lie in a folder with a notice");
}

#[test]
fn every_published_file_is_in_the_catalogue() {
    let folder = path("published");
    let catalogue = text(&folder.join("README.md"));
    let found = entries(&folder);
    assert!(found.len() > 50, "{found:?}");
    for entry in found.iter().filter(|entry| name(entry) != "README.md") {
        let listed = if entry.is_dir() { format!("`{}/", name(entry)) } else { name(entry) };
        assert!(catalogue.contains(&listed), "{listed} is not in README.md");
    }
}
