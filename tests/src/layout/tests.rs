use super::*;

const LIB: &str = "pub mod unit; mod sample; pub mod store; pub mod report;";
const STORE: &str =
    "mod frame; mod journal; pub mod log; pub use journal::{Entry, Key as Name}; pub use log::*;";

/// A small crate with one more line in one file; what is found in it.
fn violations(file: &str, line: &str) -> Vec<String> {
    let sources = Sources::new(&[
        ("p/src/lib.rs", LIB),
        ("p/src/unit.rs", ""),
        ("p/src/sample.rs", "use crate::unit;"),
        ("p/src/report.rs", "use crate::{sample::Sample, store::{Entry, log}};"),
        ("p/src/store/mod.rs", STORE),
        ("p/src/store/frame.rs", "mod part;"),
        ("p/src/store/frame/part.rs", ""),
        ("p/src/store/journal.rs", "use super::frame; pub struct Entry; pub struct Key;"),
        ("p/src/store/log.rs", "use super::{frame::Frame, Entry}; pub fn write() {}"),
    ]);
    Modules::new(&sources.with_line(&format!("p/src/{file}"), line), "p/src/lib.rs").violations()
}

#[track_caller]
fn check(file: &str, line: &str, expected: &[&str]) {
    assert_eq!(violations(file, line), expected, "{line}");
}

#[test]
fn earlier_modules_own_items_and_other_crates_may_be_named() {
    for (file, line) in [
        ("report.rs", "use crate::unit; use crate::store::*; use std::{store, log};"),
        ("store/log.rs", "use super::journal::Key; use super::Name; use crate::sample::Sample;"),
        ("store/frame.rs", "use self::part::Part; use super::Store; fn f() { self::g() }"),
        ("store/frame/part.rs", "use super::Frame; use super::super::Store; use crate::unit;"),
        ("store/mod.rs", "use log::write; fn f() { self::frame::g() }"),
        ("store/frame.rs", "// use super::log;"),
        ("store/frame.rs", "/* use super::log; */ const A: &str = \"super::log::A\";"),
        ("store/frame.rs", "#[cfg(test)] mod tests { use super::super::log; }"),
        ("store/frame.rs", "#[cfg(test)] mod tests;"),
    ] {
        check(file, line, &[]);
    }
}

#[test]
fn the_file_above_is_not_taken_as_a_whole() {
    for line in ["use super::*;", "use crate::store::*; fn p(_: log::Log) {}", "use crate::store as s;"] {
        check("store/journal.rs", line, &["p/src/store/journal.rs: `use` of the whole of `store`"]);
    }
}

#[test]
fn later_modules_are_found_however_they_are_named() {
    let later =
        |module: &str, file: &str, to: &str| format!("p/src/{file}: `{module}` names the later `{to}`");
    for (file, module, to, line) in [
        ("unit.rs", "unit", "report", "use crate::report;"),
        ("unit.rs", "unit", "report", "pub(crate) use crate::{report::{self as other}};"),
        ("unit.rs", "unit", "report", "use super::report::Report;"),
        ("unit.rs", "unit", "report", "fn f() { crate::report::write() }"),
        ("store/journal.rs", "journal", "log", "use super::{frame, log::{Log, write}};"),
        ("store/journal.rs", "journal", "log", "fn f(_: &super::log::Log) {}"),
        ("store/journal.rs", "journal", "log", "use crate::store::log as other;"),
        ("store/journal.rs", "journal", "log", "use self::super::log;"),
        // Passed on by the folder: by a glob.
        ("store/journal.rs", "journal", "log", "use super::write;"),
        // From a folder within the folder.
        ("store/frame/part.rs", "frame", "journal", "use super::super::journal::Key;"),
        // Passed on under its own and under another name.
        ("store/frame.rs", "frame", "journal", "use super::Entry;"),
        ("store/frame/part.rs", "frame", "journal", "use crate::store::Name;"),
    ] {
        let found = violations(file, line);
        assert!(found.contains(&later(module, file, to)), "{line}: {found:?}");
    }
}

#[test]
fn circles_are_found() {
    let circle = "circle in `store`: frame, journal, log";
    assert!(violations("store/frame.rs", "use super::log;").contains(&circle.to_owned()));
    let circle = "circle in ``: sample, unit";
    assert!(violations("unit.rs", "use crate::sample::Sample;").contains(&circle.to_owned()));
}

#[test]
fn an_order_is_suggested_where_there_is_one() {
    let modules = |lib: &str, unit: &str| {
        let sources =
            Sources::new(&[("p/lib.rs", lib), ("p/a.rs", "use crate::c;"), ("p/b.rs", ""), ("p/c.rs", unit)]);
        Modules::new(&sources, "p/lib.rs").suggestions()
    };
    assert_eq!(modules("mod a; mod b; mod c;", ""), ["p/lib.rs, in this order: b, c, a"]);
    assert_eq!(modules("mod c; mod b; mod a;", ""), [""; 0]);
    assert_eq!(modules("mod a; mod b; mod c;", "use crate::a;"), [""; 0]);
}
