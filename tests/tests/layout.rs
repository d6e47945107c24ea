//! The shape of the repository: what lies where, in which order modules may name each other, how long files get.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

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

#[test]
fn files_stay_short() {
    let long: Vec<String> = files()
        .into_iter()
        .filter(|name| name.ends_with(".rs"))
        .filter(|name| text(name).lines().count() > 300)
        .collect();
    assert!(long.is_empty(), "over 300 lines: {long:?}");
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
fn every_stage_says_what_goes_in_and_comes_out() {
    let silent: Vec<String> = files()
        .into_iter()
        .filter(|name| name.ends_with(".rs") && name.contains("/src/"))
        .filter(|name| !name.ends_with("lib.rs") && !name.ends_with("tests.rs") && !name.contains("/tests/"))
        .filter(|name| !text(name).starts_with("//! In: "))
        .collect();
    assert!(silent.is_empty(), "no `//! In: … Out: …` on top: {silent:?}");
}

/// Modules of a crate in the order of its `lib.rs`.
fn order(package: &str) -> Vec<String> {
    let lib = text(&format!("{package}/src/lib.rs"));
    let names = lib.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';'));
    names.map(str::to_owned).collect()
}

/// Text outside of tests.
fn shipped(name: &str) -> String {
    let text = text(name);
    text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default().to_owned()
}

#[track_caller]
fn names_only_earlier(package: &str) {
    let order = order(package);
    assert!(order.len() > 2 || package == "firmware", "{package}/src/lib.rs lists its modules");
    let mut backward = vec![];
    for name in files().into_iter().filter(|name| name.starts_with(&format!("{package}/src/"))) {
        let inside = &name[package.len() + 5..];
        let module = inside.split(['/', '.']).next().unwrap_or_default();
        let Some(place) = order.iter().position(|other| other == module) else { continue };
        if name.ends_with("tests.rs") || name.contains("fake") {
            continue;
        }
        let text = shipped(&name);
        for later in &order[place + 1..] {
            let code = text.lines().filter(|line| !line.trim_start().starts_with("//"));
            if code.into_iter().any(|line| {
                line.contains(&format!("crate::{later}::")) || line.contains(&format!("crate::{later};"))
            }) {
                backward.push(format!("{name} names {later}"));
            }
        }
    }
    assert!(backward.is_empty(), "{backward:?}");
}

#[test]
fn core_modules_name_only_earlier_ones() {
    names_only_earlier("core");
}

#[test]
fn firmware_modules_name_only_earlier_ones() {
    names_only_earlier("firmware");
}

#[test]
fn host_modules_name_only_earlier_ones() {
    names_only_earlier("host");
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
