//! The fields of a move: what the table on the host declares, METHOD.md defines.

use stillpoint::report::move_report::{FIELDS, KIND};

/// The index of the numbers in METHOD.md.
fn index() -> &'static str {
    let method = include_str!("../../core/METHOD.md");
    let from = method.find("### Index of the numbers of a move").expect("an index");
    let index = &method[from..];
    &index[..index.find("\n## ").expect("a section behind it")]
}

#[test]
fn every_field_is_in_the_index_of_the_method() {
    let missing: Vec<&str> = FIELDS.iter().chain([&KIND]).map(|field| field.name).collect();
    let missing: Vec<&str> =
        missing.into_iter().filter(|name| !index().contains(&format!("`{name}`"))).collect();
    assert!(missing.is_empty(), "not in the index of METHOD.md: {missing:?}");
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
