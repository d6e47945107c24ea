//! Stores of older versions open; the file of each version is never edited once released.

use super::*;

/// A store of version 1: truth only, five seconds of a monitor.
const VERSION_1: &str = include_str!("version_1.sql");
/// The same store with the tables of version 2, which guessed kinds by direction and octave of the travel.
const VERSION_2: &str = include_str!("version_2.sql");
/// A store of version 3, whose moves have no lengths.
const VERSION_3: &str = include_str!("version_3.sql");
/// The same store with the tables of version 4, which know no jobs.
const VERSION_4: &str = include_str!("version_4.sql");
/// The same store with the tables of version 5, whose rows have no digests.
const VERSION_5: &str = include_str!("version_5.sql");
/// The same store with the tables of version 6.
const VERSION_6: &str = include_str!("version_6.sql");

/// A store out of SQL.
fn written(name: &str, sql: &str) -> Scratch {
    let place = Scratch::new(name);
    rusqlite::Connection::open(&place.0).expect("a file").execute_batch(sql).expect("SQL");
    place
}

#[test]
fn version_1_gets_its_tables_from_its_frames() {
    let place = written("version-1", VERSION_1);
    let store = place.store();
    let found = store.check().expect("readable");
    assert!(found.is_sound() && found.moves == 40, "{found:?}");
    assert_eq!(
        store.axes().expect("axes").iter().map(|known| known.axis.name.as_str()).collect::<Vec<_>>(),
        ["tray_shuttle", "dibble", "gripper_turntable"]
    );
    let mut curves = 0;
    store
        .moves(&MoveQuery::default(), &mut |line| {
            curves += usize::from(line.settling_curve.len() > 5);
            Ok(())
        })
        .expect("moves");
    assert!(curves > 25, "{curves}");
    drop(store);
    let version = rusqlite::Connection::open(&place.0).expect("a file");
    let version: i64 = version.pragma_query_value(None, "user_version", |row| row.get(0)).expect("a version");
    assert_eq!(version as usize, stillpoint::store::CURRENT);
}

#[test]
fn version_2_gets_the_tables_of_the_watch_and_guesses_no_more() {
    let (one, two) = (written("version-2-from-1", VERSION_1), written("version-2", VERSION_2));
    let raw = rusqlite::Connection::open(&two.0).expect("a file");
    let kinds = |raw: &rusqlite::Connection| -> i64 {
        raw.query_row("SELECT count(DISTINCT kind) FROM moves", [], |row| row.get(0)).expect("a count")
    };
    assert_eq!(kinds(&raw), 4);
    let notes = two.store().journal(i64::MIN, i64::MAX).expect("a journal");
    assert!(notes.iter().any(|entry| entry.text == "version 2"), "notes stay: {notes:?}");
    assert_eq!(kinds(&raw), 1);
    drop(raw);
    // The tables follow from the frames, whatever version wrote them first.
    one.store();
    let but_notes = |place: &Scratch| -> Vec<String> {
        tables(&place.0).into_iter().filter(|row| !row.contains("version 2")).collect()
    };
    assert_eq!(but_notes(&one), but_notes(&two));
    let store = two.store();
    let known = &store.axes().expect("axes")[0];
    let kinds = store.kinds(known, 300, (i64::MIN, i64::MAX)).expect("kinds");
    let words: Vec<String> = kinds.iter().map(stillpoint::store::kinds::Kind::describe).collect();
    assert_eq!(words, ["none"], "its monitor numbered no kinds");
}

#[test]
fn versions_3_to_5_get_lengths_jobs_the_view_and_digests() {
    let six = written("version-6-from-3", VERSION_6);
    for (name, sql) in [("version-3", VERSION_3), ("version-4", VERSION_4), ("version-5", VERSION_5)] {
        let place = written(name, sql);
        let store = place.store();
        let found = store.check().expect("readable");
        assert!(found.is_sound() && found.moves == 86, "{found:?}");
        let notes = store.journal(i64::MIN, i64::MAX).expect("a journal");
        assert!(notes.iter().any(|entry| entry.text == "version 3"), "{notes:?}");
        drop(store);
        assert_eq!(tables(&place.0), tables(&six.0));
        assert_eq!(schema(&place), schema(&six));
    }
}

#[test]
fn version_6_is_what_is_written_today() {
    let place = written("version-6", VERSION_6);
    let before = tables(&place.0);
    let mut store = place.store();
    assert_eq!(tables(&place.0), before, "opening changes nothing");
    store.rebuild().expect("room");
    assert_eq!(tables(&place.0), before, "the tables follow from the frames");
    let new = Scratch::new("version-6-new");
    drop(new.log(&Options::default()));
    assert_eq!(schema(&place), schema(&new), "no step of the schema was edited");
}

#[test]
fn an_upgrade_that_fails_leaves_the_older_version() {
    let place = written("version-3-stopped", VERSION_3);
    let raw = rusqlite::Connection::open(&place.0).expect("a file");
    let state = || {
        let version: i64 = raw.pragma_query_value(None, "user_version", |row| row.get(0)).expect("a version");
        let moves: i64 = raw.query_row("SELECT count(*) FROM moves", [], |row| row.get(0)).expect("a count");
        (version, moves, schema(&place))
    };
    // No row can be derived from one frame.
    raw.execute("UPDATE frames SET device = 77 WHERE priority = 1 AND sequence = 6", []).expect("SQL");
    let before = state();
    let error = Store::open(&place.0, &Options::default()).expect_err("no such monitor").to_string();
    assert!(error.contains("no rows"), "{error}");
    assert_eq!(state(), before);
    raw.execute("UPDATE frames SET device = 1 WHERE priority = 1 AND sequence = 6", []).expect("SQL");
    assert!(place.store().check().expect("readable").is_sound());
}

/// The statements that made the tables, views and triggers, by name.
fn schema(place: &Scratch) -> Vec<(String, String)> {
    let connection = rusqlite::Connection::open(&place.0).expect("a file");
    let sql = "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name";
    let mut statement = connection.prepare(sql).expect("SQL");
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).expect("rows");
    rows.collect::<Result<_, _>>().expect("statements")
}
