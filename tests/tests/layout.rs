//! The shape of the repository: what lies where, in which order modules may name each other, how long functions get.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use stillpoint_tests::layout::{Modules, Sources};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Files that git would commit.
fn files() -> Vec<String> {
    let output =
        Command::new("git").args(["ls-files", "-co", "--exclude-standard"]).current_dir(root()).output();
    let listed = output.expect("git lists the files").stdout;
    let names = String::from_utf8(listed).expect("names are UTF-8");
    names.lines().filter(|name| root().join(name).exists()).map(str::to_owned).collect()
}

fn text(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

#[test]
fn the_top_level_is_fixed() {
    let top: BTreeSet<String> = files()
        .iter()
        .filter_map(|name| name.split('/').next().map(str::to_owned))
        .filter(|name| !name.starts_with('.') && !name.starts_with("LICENSE"))
        .collect();
    let fixed =
        ["Cargo.lock", "Cargo.toml", "DEVELOPERS.md", "README.md", "core", "firmware", "host", "tests"];
    assert_eq!(top, fixed.map(str::to_owned).into());
}

/// Functions as rustfmt writes them: from `fn` to the brace that stands under it.
#[test]
fn functions_stay_short() {
    let mut long = vec![];
    for name in files().into_iter().filter(|name| name.ends_with(".rs") && !name.contains("/tests")) {
        let text = text(&name);
        let lines: Vec<&str> = text.lines().collect();
        for (from, line) in lines.iter().enumerate() {
            let indent = line.len() - line.trim_start().len();
            let head = line.trim_start();
            let starts = ["fn ", "pub fn ", "pub(crate) fn ", "pub(super) fn ", "const fn ", "pub const fn "];
            if !starts.iter().any(|start| head.starts_with(start)) || head.ends_with(';') {
                continue;
            }
            let closing = format!("{}}}", " ".repeat(indent));
            let Some(length) = lines[from..].iter().position(|line| *line == closing) else { continue };
            if length + 1 > 40 {
                long.push(format!("{name}:{} {} lines", from + 1, length + 1));
            }
        }
    }
    assert!(long.is_empty(), "over 40 lines: {long:?}");
}

#[test]
fn every_stage_states_its_inputs_and_outputs() {
    let silent: Vec<String> = files()
        .into_iter()
        .filter(|name| name.ends_with(".rs") && name.contains("/src/"))
        .filter(|name| !name.ends_with("lib.rs") && !name.ends_with("tests.rs") && !name.contains("/tests/"))
        .filter(|name| !text(name).starts_with("//! In: "))
        .collect();
    assert!(silent.is_empty(), "no `//! In: … Out: …` on top: {silent:?}");
}

fn sources(package: &str) -> Sources {
    Sources::read(&root(), &format!("{package}/src"))
}

fn violations(package: &str, sources: &Sources) -> Vec<String> {
    Modules::new(sources, &format!("{package}/src/lib.rs")).violations()
}

#[test]
fn modules_name_only_earlier_ones() {
    let (mut found, mut suggestions) = (vec![], vec![]);
    for (package, folder_with_modules) in [
        ("core", "settling"),
        ("firmware", "app"),
        ("firmware/boards/emulated", ""),
        ("firmware/boards/nucleo-g474re", ""),
        ("host", "store"),
        ("tests", "layout"),
    ] {
        let modules = Modules::new(&sources(package), &format!("{package}/src/lib.rs"));
        let folders = modules.folders();
        for (folder, modules) in &folders {
            println!("{package} {folder}: {}", modules.join(", "));
        }
        let is_read =
            folders.iter().any(|(folder, modules)| folder == folder_with_modules && modules.len() > 1);
        assert!(is_read, "{package}: no modules in {folder_with_modules:?}");
        found.extend(modules.violations());
        suggestions.extend(modules.suggestions());
    }
    assert!(found.is_empty(), "{found:#?}\nlist the modules so: {suggestions:#?}");
}

/// What lines planted in the sources of a package add to its violations.
fn planted(package: &str, file: &str, line: &str) -> Vec<String> {
    let sources = sources(package);
    let before = violations(package, &sources);
    let planted = sources.with_line(&format!("{package}/src/{file}"), line);
    violations(package, &planted).into_iter().filter(|violation| !before.contains(violation)).collect()
}

#[test]
fn a_planted_upward_import_is_found() {
    for line in [
        "use super::log::Log;",
        "use super::{Store, log::{self, Log}};",
        "use crate::store::{journal, log as other};",
        "fn planted() { super::log::planted() }",
    ] {
        let expected = "host/src/store/boots.rs: `boots` names the later `log`".to_owned();
        assert!(planted("host", "store/boots.rs", line).contains(&expected), "{line}");
    }
}

#[test]
fn a_planted_circle_is_found() {
    let found = planted("core", "sample.rs", "use crate::axis::Axis;");
    let circle = found.iter().find(|violation| violation.starts_with("circle in ``: "));
    assert!(
        circle.is_some_and(|circle| ["sample", "motion", "axis"].iter().all(|name| circle.contains(name))),
        "{found:?}"
    );
}

#[test]
fn packages_know_only_the_packages_below() {
    let allowed = [("core", vec![]), ("firmware", vec!["core"]), ("host", vec!["core", "firmware"])];
    for (package, below) in allowed {
        let manifest = text(&format!("{package}/Cargo.toml"));
        for other in ["core", "firmware", "tests"] {
            let named = manifest.lines().any(|line| line.starts_with(&format!("stillpoint-{other}")));
            assert!(!named || below.contains(&other), "{package} names {other}");
        }
    }
}

#[test]
fn unsafe_code_is_forbidden_outside_the_boards() {
    for root in ["core/src/lib.rs", "firmware/src/lib.rs", "host/src/lib.rs", "host/src/main.rs"] {
        assert!(text(root).contains("#![forbid(unsafe_code)]"), "{root}");
    }
}
