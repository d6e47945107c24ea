//! Stores of older versions open; the file of each version is never edited once released.

use super::*;

/// A store of version 1: truth only, five seconds of a monitor.
const VERSION_1: &str = include_str!("version_1.sql");
/// The same store with the tables of version 2, which guessed kinds by direction and octave of the travel.
const VERSION_2: &str = include_str!("version_2.sql");

#[test]
fn version_1_gets_its_tables_from_its_frames() {
    let place = Scratch::new("version-1");
    rusqlite::Connection::open(&place.0).expect("a file").execute_batch(VERSION_1).expect("SQL");
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
    let (one, two) = (Scratch::new("version-2-from-1"), Scratch::new("version-2"));
    for (place, sql) in [(&one, VERSION_1), (&two, VERSION_2)] {
        rusqlite::Connection::open(&place.0).expect("a file").execute_batch(sql).expect("SQL");
    }
    let raw = rusqlite::Connection::open(&two.0).expect("a file");
    let kinds = |raw: &rusqlite::Connection| -> i64 {
        raw.query_row("SELECT count(DISTINCT kind) FROM moves", [], |row| row.get(0)).expect("a count")
    };
    assert_eq!(kinds(&raw), 4);
    let notes = two.store().journal(i64::MIN, i64::MAX).expect("a journal");
    assert!(notes.iter().any(|entry| entry.text == "version 2"), "what people said stays: {notes:?}");
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
    assert_eq!(words, ["none"], "its monitor told no kinds");
}
