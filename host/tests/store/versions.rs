//! Stores of older versions open; the file of each version is never edited once released.

use super::*;

/// A store of version 1: truth only, five seconds of a monitor.
const VERSION_1: &str = include_str!("version_1.sql");

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
        .moves(&Ask::default(), &mut |line| {
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
