//! The numbers of a move: what the core records has a row on the host, and what the host reports is in METHOD.md.
//!
//! The compiler refuses a number without a row already; here a forgotten one is planted, and found by name.

use stillpoint::report::move_report::{FIELDS, KIND};

const RECORD: &str = include_str!("../../core/src/record.rs");
const REPORT: &str = include_str!("../../host/src/report/move_report.rs");
const METHOD: &str = include_str!("../../core/METHOD.md");

/// The part of `text` from `begin` to the first `end` behind it.
#[track_caller]
fn part<'a>(text: &'a str, begin: &str, end: &str) -> &'a str {
    let from = text.find(begin).unwrap_or_else(|| panic!("no {begin:?}"));
    let part = &text[from..];
    &part[..part.find(end).unwrap_or_else(|| panic!("no {end:?} behind {begin:?}"))]
}

/// The numbers in the record of the core.
fn recorded(record: &str) -> Vec<&str> {
    let fields = part(record, "pub struct Record {", "\n}").lines();
    fields.filter_map(|line| Some(line.trim().strip_prefix("pub ")?.split_once(": ")?.0)).collect()
}

/// Numbers of the record that no row of the report names.
fn forgotten<'a>(record: &'a str, report: &str) -> Vec<&'a str> {
    let rows = part(report, "\nmove_report! {", "\n}");
    let is_named = |name: &&str| rows.contains(&format!(" from {name} = "));
    recorded(record).into_iter().filter(|name| !is_named(name)).collect()
}

/// Names of fields that are not in the index of the numbers.
fn not_in_index(method: &str) -> Vec<&'static str> {
    let index = part(method, "### Index of the numbers of a move", "\n## ");
    let names = FIELDS.iter().chain([&KIND]).map(|field| field.name);
    names.filter(|name| !index.contains(&format!("`{name}`"))).collect()
}

#[test]
fn every_number_of_the_record_is_reported() {
    assert!(recorded(RECORD).len() > 15, "{:?}", recorded(RECORD));
    assert_eq!(forgotten(RECORD, REPORT), Vec::<&str>::new());
}

#[test]
fn a_planted_forgotten_number_is_found() {
    let planted = RECORD.replace("pub struct Record {", "pub struct Record {\n    pub planted: u32,");
    assert_eq!(forgotten(&planted, REPORT), ["planted"]);
    let without_row = REPORT.replace("from overshoot = ", "= ");
    assert_eq!(forgotten(RECORD, &without_row), ["overshoot"]);
}

#[test]
fn every_field_is_in_the_index_of_the_method() {
    assert_eq!(not_in_index(METHOD), Vec::<&str>::new());
    assert_eq!(not_in_index(&METHOD.replace("`rest_error`", "`rest`")), ["rest_error"]);
}

#[test]
fn every_field_has_a_name_a_unit_and_a_meaning_of_its_own() {
    for (place, field) in FIELDS.iter().enumerate() {
        let others = || FIELDS.iter().take(place).chain([&KIND]);
        assert!(others().all(|other| other.name != field.name), "{} twice", field.name);
        assert!(others().all(|other| other.meaning != field.meaning), "{}: {}", field.name, field.meaning);
        assert!(field.meaning.len() > 10 && field.meaning.ends_with('.'), "{}", field.meaning);
        let unit_in_name =
            [("_s", "s"), ("_hz", "Hz")].iter().find(|(ending, _)| field.name.ends_with(ending));
        assert!(unit_in_name.is_none_or(|(_, unit)| field.unit == *unit), "{} in {}", field.name, field.unit);
    }
}
