//! A full disk, other writers, and files that are no store.

use std::time::Duration;

use stillpoint::store::devices::Axis;

use super::*;

/// Long enough for the next try.
fn later() {
    std::thread::sleep(Duration::from_millis(1050));
}

/// Makes a store with a table that fills it. Returns a number of pages that leaves little room beside it.
fn fill(place: &Scratch) -> u32 {
    drop(place.log(&Options::default()));
    let other = rusqlite::Connection::open(&place.0).expect("a file");
    other.execute_batch("CREATE TABLE ballast AS SELECT zeroblob(2000000)").expect("room");
    let pages: u32 = other.pragma_query_value(None, "page_count", |row| row.get(0)).expect("a count");
    pages + 15
}

/// Makes room in it.
fn empty(place: &Scratch) {
    let other = rusqlite::Connection::open(&place.0).expect("a file");
    other.execute_batch("DROP TABLE ballast").expect("a table");
}

#[test]
fn on_a_full_disk_frames_wait_and_nothing_is_lost() {
    let place = Scratch::new("full");
    let mut line = Line::new(20);
    let mut log = place.log(&Options { max_pages: Some(fill(&place)), ..Options::default() });
    let mut now = BEGIN;
    while log.stats().waiting == 0 {
        now = push(&mut log, &line.run(20), now);
        log.commit();
    }
    let notes = log.drain_notes();
    assert!(
        notes.len() == 1 && notes[0].contains("is full") && notes[0].contains("watching goes on"),
        "{notes:?}"
    );
    now = push(&mut log, &line.run(20), now);
    assert!(!log.commit(), "not before the next try is due");
    empty(&place);
    later();
    assert!(log.commit() && log.stats().dropped == 0);
    assert!(log.drain_notes()[0].contains("written again"));
    push(&mut log, &line.run(20), now);
    check_whole(&log.finish().expect("room").0);
}

#[test]
fn dropped_frames_are_counted_and_requested() {
    let place = Scratch::new("dropped");
    let mut line = Line::new(21);
    let options = Options { max_pages: Some(fill(&place)), max_pending: 50, ..Options::default() };
    let mut log = place.log(&options);
    let mut now = BEGIN;
    while log.stats().dropped < 20 {
        now = push(&mut log, &line.run(10), now);
        log.commit();
    }
    assert_eq!(log.stats().waiting, 50);
    assert_eq!(log.drain_requests(), []);
    empty(&place);
    later();
    assert!(log.commit());
    let requests = log.drain_requests();
    assert_eq!(requests.len(), 1);
    assert!(
        log.drain_notes().iter().any(|note| note.contains("dropped while the store could not be written"))
    );
    push(&mut log, &line.dump(requests[0]), now);
    check_whole(&log.finish().expect("room").0);
}

#[test]
fn a_disk_that_stays_full_is_an_error_at_the_end() {
    let place = Scratch::new("stays-full");
    let mut log = place.log(&Options { max_pages: Some(40), ..Options::default() });
    push(&mut log, &Line::new(22).run(900), BEGIN);
    let error = log.finish().expect_err("no room").to_string();
    assert!(
        error.contains("could not be stored") && error.contains("full") && error.contains("make room"),
        "{error}"
    );
    check_whole(&place.store());
}

#[test]
fn two_writers_take_turns() {
    let place = Scratch::new("two");
    let named = |number: u8, name: &str| {
        let axis = |axis| Axis {
            axis,
            name: format!("{name} {axis}"),
            unit: "count".to_owned(),
            counts_per_unit: 1.0,
            window: None,
            source: name.to_owned(),
        };
        Log::open(&place.0, &Options::default(), Some([number; 12]), (0..3).map(axis).collect())
            .expect("a store")
    };
    // Two monitors, and the first of them by two programs at once.
    let mut logs = [named(1, "axis"), named(2, "other"), named(1, "axis")];
    let (first, second) = (Line::new(23).run(150), Line::new(24).run(150));
    for (tenth, (first, second)) in first.iter().zip(&second).enumerate() {
        for (log, chunk) in logs.iter_mut().zip([first, second, first]) {
            log.push(chunk, BEGIN + tenth as i64 * 100_000);
            assert!(log.commit());
        }
    }
    let [a, b, c] = logs.map(|log| log.finish().expect("room").1);
    assert!(a.known + c.known == a.stored + c.stored && a.stored > 100 && b.known == 0, "{a:?} {b:?} {c:?}");
    check_whole(&place.store());
    let others = numbers(&place.store()).iter().filter(|each| each.0.starts_with("other")).count();
    assert!(others > 60);
}

#[test]
fn a_writer_that_holds_on_is_reported_and_waited_for() {
    let place = Scratch::new("busy");
    let mut log = place.log(&Options { busy_timeout: Duration::from_millis(50), ..Options::default() });
    let mut line = Line::new(25);
    let other = rusqlite::Connection::open(&place.0).expect("a file");
    other.execute_batch("BEGIN IMMEDIATE").expect("a transaction");
    let now = push(&mut log, &line.run(50), BEGIN);
    assert!(!log.commit());
    let notes = log.drain_notes();
    assert!(notes.len() == 1 && notes[0].contains("another program is writing"), "{notes:?}");
    other.execute_batch("ROLLBACK").expect("an end");
    later();
    push(&mut log, &line.run(50), now);
    check_whole(&log.finish().expect("room").0);
}

#[test]
fn a_file_that_is_no_store_is_refused_with_a_remedy() {
    #[track_caller]
    fn check(place: &Scratch, parts: &[&str]) {
        let error = Store::open(&place.0, &Options::default()).expect_err("no store").to_string();
        for part in parts {
            assert!(error.contains(part), "{part:?} is not in {error:?}");
        }
    }
    let place = Scratch::new("no-store");
    check(&place, &["there is no store here", "watch SOURCE --store"]);
    std::fs::write(&place.0, "").expect("a file");
    check(&place, &["is empty, no store", "watch SOURCE --store"]);
    assert_eq!(std::fs::read(&place.0).expect("a file").len(), 0, "left as it was");
    drop(place.log(&Options::default()));
    place.store();
    place.clear();
    std::fs::write(&place.0, "frames ".repeat(1000)).expect("a file");
    check(&place, &["is no store", "watch file:PATH --store NEW"]);
    assert_eq!(std::fs::read(&place.0).expect("a file").len(), 7000, "left as it was");
    place.clear();
    let other = rusqlite::Connection::open(&place.0).expect("a file");
    other.execute_batch("CREATE TABLE recipes (name TEXT)").expect("a table");
    check(&place, &["a database, but no store", "name another file"]);
    drop(other);
    place.clear();
    drop(place.log(&Options::default()));
    let newer = rusqlite::Connection::open(&place.0).expect("a file");
    newer.pragma_update(None, "user_version", 99).expect("a version");
    check(&place, &["version 99", "a later one"]);
}
