//! host/STORE.md against a store: its examples run, its lists are complete, and its view shows what `moves` prints.

use rusqlite::Connection;
use stillpoint::store::{CURRENT, outcome, time};
use stillpoint_core::Outcome;

use super::commands::done;
use super::*;

const DOCUMENT: &str = include_str!("../../STORE.md");

/// A rehearsal of 36 s, in which the machine wears so much that some stops don't settle and an alarm is raised.
fn rehearsed(name: &str) -> (Scratch, Connection) {
    let place = Scratch::new(name);
    done(&["rehearse", "--hours", "0.01", "--seed", "5", "--store", &place.text()]);
    done(&[
        "note",
        "--store",
        &place.text(),
        "position gain 40 -> 60",
        "--axis",
        "dibble",
        "--who",
        "M. Ito",
    ]);
    let connection = Connection::open(&place.0).expect("a file");
    (place, connection)
}

/// The blocks of code of a language.
fn blocks(language: &str) -> Vec<&'static str> {
    let fence = format!("```{language}\n");
    DOCUMENT.split(&*fence).skip(1).map(|rest| rest.split("```").next().unwrap_or_default()).collect()
}

/// The cells of the rows of the table under a heading, without the back quotes.
fn table(heading: &str) -> Vec<Vec<String>> {
    let (_, section) = DOCUMENT.split_once(&format!("\n## {heading}\n")).expect(heading);
    let section = section.split("\n## ").next().unwrap_or_default();
    let rows = section.lines().filter(|line| line.starts_with('|')).skip(2);
    let cells =
        |row: &str| row.trim_matches('|').split('|').map(|cell| cell.trim().replace('`', "")).collect();
    rows.map(cells).collect()
}

fn first_column(heading: &str) -> Vec<String> {
    table(heading).into_iter().map(|row| row[0].clone()).collect()
}

/// Names out of one column of a statement.
fn names(store: &Connection, sql: &str) -> Vec<String> {
    let mut statement = store.prepare(sql).expect("SQL");
    let names = statement.query_map([], |row| row.get(0)).expect("rows");
    names.collect::<Result<_, _>>().expect("names")
}

#[test]
fn every_example_finds_something() {
    let (_place, store) = rehearsed("document");
    let python = blocks("python");
    let inside = python.iter().flat_map(|block| block.split("\"\"\"").skip(1).step_by(2));
    let examples: Vec<&str> = blocks("sql").into_iter().chain(inside).collect();
    assert_eq!(examples.len(), DOCUMENT.matches("SELECT").count() - 1, "one of them selects twice");
    for sql in examples {
        let mut statement = store.prepare(sql).unwrap_or_else(|error| panic!("{error}: {sql}"));
        let mut rows = statement.query([]).unwrap_or_else(|error| panic!("{error}: {sql}"));
        assert!(rows.next().unwrap_or_else(|error| panic!("{error}: {sql}")).is_some(), "no row: {sql}");
    }
}

#[test]
fn the_lists_are_complete() {
    let (_place, store) = rehearsed("document-lists");
    let mut tables = first_column("The tables");
    tables.sort_unstable();
    assert_eq!(tables, names(&store, "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"));
    let columns = names(&store, "SELECT name FROM pragma_table_info('moves_readable') ORDER BY cid");
    assert_eq!(first_column("The view `moves_readable`"), columns);
    let version = format!("describes version {CURRENT}.");
    assert!(DOCUMENT.contains(&version), "{version}");
    let listed = table("The layers of `host/src/store`");
    let mut listed: Vec<&str> = listed.iter().flat_map(|row| row[1].split_whitespace()).collect();
    let modules = include_str!("../../src/store/mod.rs").lines();
    let mut modules: Vec<&str> = modules
        .filter_map(|line| line.trim_start_matches("pub ").strip_prefix("mod ")?.strip_suffix(';'))
        .collect();
    // Export is optional.
    modules.retain(|module| *module != "parquet_export");
    listed.sort_unstable();
    modules.sort_unstable();
    assert_eq!(listed, modules);
}

#[test]
fn the_outcomes_are_numbered_as_listed() {
    let store = Connection::open_in_memory().expect("memory");
    store.execute_batch(include_str!("version_6.sql")).expect("SQL");
    let listed: Vec<(String, String)> = table("The numbers of `moves.outcome`")
        .into_iter()
        .map(|row| (row[0].clone(), row[1].clone()))
        .collect();
    let all = [Outcome::Settled, Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];
    let written = all.map(|outcome| (outcome::number(outcome).to_string(), outcome.word().to_owned()));
    assert_eq!(listed, written);
    for (number, word) in listed {
        store
            .execute("UPDATE moves SET outcome = ?1", [number.parse::<u8>().expect("a number")])
            .expect("SQL");
        assert_eq!(names(&store, "SELECT DISTINCT outcome FROM moves_readable"), [word]);
    }
}

/// A row of the view, or the same of a printed line: axis, number, outcome, unit; times and lengths.
type Readable = ([String; 4], [Option<f64>; 5]);

#[test]
fn the_view_shows_what_moves_prints() {
    let (place, store) = rehearsed("document-view");
    let mut printed: Vec<Readable> = vec![];
    place
        .store()
        .moves(&MoveQuery::default(), &mut |line| {
            let words = [
                line.axis.clone(),
                line.number.to_string(),
                line.outcome.word().to_owned(),
                line.unit.clone(),
            ];
            let (peak, overshoot) = (Some(line.peak_following_error), Some(line.overshoot));
            printed.push((words, [line.settling_s, Some(line.travel), peak, overshoot, line.rest_error]));
            Ok(())
        })
        .expect("moves");
    let sql = "SELECT axis, CAST(move AS TEXT), outcome, unit,
            settling_s, travel, peak_following_error, overshoot, rest_error, at, at_us
        FROM moves_readable ORDER BY monitor, axis_number, at_us";
    let mut statement = store.prepare(sql).expect("SQL");
    let (mut rows, mut lines) = (statement.query([]).expect("rows"), printed.iter());
    while let Some(row) = rows.next().expect("a row") {
        let line = lines.next().expect("a line for each row");
        let words = [0, 1, 2, 3].map(|place| row.get::<_, String>(place).expect("a word"));
        let figures = [4, 5, 6, 7, 8].map(|place| row.get::<_, Option<f64>>(place).expect("a figure"));
        assert_eq!(words, line.0);
        for (figure, printed) in figures.iter().zip(&line.1) {
            let is_near = match (figure, printed) {
                (Some(figure), Some(printed)) => (figure - printed).abs() <= 1e-12 + 1e-9 * printed.abs(),
                (figure, printed) => figure == printed,
            };
            assert!(is_near, "{words:?}: {figures:?} is not {:?}", line.1);
        }
        let (at, at_us): (String, i64) = (row.get(9).expect("a time"), row.get(10).expect("a time"));
        assert_eq!(at, time::text(at_us));
    }
    assert!(lines.next().is_none() && printed.len() > 100, "{} moves are printed", printed.len());
    assert!(printed.iter().any(|line| line.1[0].is_none()) && printed.iter().any(|line| line.1[4].is_none()));
}

#[test]
fn instants_before_1970_and_counts_without_a_scale_are_readable_too() {
    let store = Connection::open_in_memory().expect("memory");
    store.execute_batch(include_str!("version_6.sql")).expect("SQL");
    store.execute("DELETE FROM axes", []).expect("SQL");
    store.execute("UPDATE moves SET at_us = number - 3600000500, rest_error = 128", []).expect("SQL");
    let sql = "SELECT at, at_us, axis, axis_number, unit, travel, rest_error FROM moves_readable";
    let mut statement = store.prepare(sql).expect("SQL");
    let mut rows = statement.query([]).expect("rows");
    while let Some(row) = rows.next().expect("a row") {
        let text = |place| row.get::<_, String>(place).expect("text");
        let figure = |place| row.get::<_, f64>(place).expect("a figure");
        assert_eq!(text(0), time::text(row.get(1).expect("a time")));
        assert_eq!(text(2), format!("axis {}", row.get::<_, u8>(3).expect("a number")));
        assert_eq!((text(4).as_str(), figure(6)), ("count", 0.5));
        assert!(figure(5).abs() > 1000.0 && figure(5).fract() == 0.0);
    }
}

/// The digests as the section of STORE.md about them says, with nothing of the store's own code.
#[test]
fn the_digests_are_those_that_are_described() {
    use rusqlite::types::ValueRef;
    use sha2::{Digest, Sha256};
    let (_place, store) = rehearsed("document-digests");
    let part = |value: ValueRef| -> Vec<u8> {
        let (kind, bytes) = match value {
            ValueRef::Null => (0, vec![]),
            ValueRef::Integer(number) => (1, number.to_be_bytes().to_vec()),
            ValueRef::Real(number) => (2, number.to_bits().to_be_bytes().to_vec()),
            ValueRef::Text(text) => (3, text.to_vec()),
            ValueRef::Blob(bytes) => (4, bytes.to_vec()),
        };
        [vec![kind], (bytes.len() as u32).to_be_bytes().to_vec(), bytes].concat()
    };
    let mut checked = 0;
    for table in ["devices", "boots", "axes", "shifts", "marks", "journal"] {
        let sql =
            format!("SELECT name FROM pragma_table_info('{table}') WHERE name <> 'digest' ORDER BY cid");
        let columns = names(&store, &sql);
        let sql = format!("SELECT {}, digest FROM {table} ORDER BY 1", columns.join(", "));
        let mut statement = store.prepare(&sql).expect("SQL");
        let (mut rows, mut before) =
            (statement.query([]).expect("rows"), part(ValueRef::Text(table.as_bytes())));
        while let Some(row) = rows.next().expect("a row") {
            let mut bytes = before.clone();
            (0..columns.len()).for_each(|place| bytes.extend(part(row.get_ref(place).expect("a value"))));
            let digest: Vec<u8> = row.get(columns.len()).expect("a digest");
            assert_eq!(digest, Sha256::digest(&bytes).to_vec(), "{table}");
            if table == "journal" {
                before = part(ValueRef::Blob(&digest));
            }
            checked += 1;
        }
    }
    assert!(checked > 15, "{checked}");
}
