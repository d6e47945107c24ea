//! Frames that come before a hello names their monitor become its own, and are stored once.

use super::*;

/// A monitor's bytes for 15 s, with its hello in the first chunk; and the number of their moves.
fn shift(seed: u64) -> (Vec<Vec<u8>>, usize) {
    let place = Scratch::new(&format!("named-{seed}"));
    let (chunks, mut log) = (Line::new(seed).run(150), place.log(&Options::default()));
    push(&mut log, &chunks, BEGIN);
    let count = check_whole(&log.finish().expect("room").0);
    (chunks, count)
}

/// One monitor, its three axes, and each move once.
#[track_caller]
fn check_one(place: &Scratch, count: usize) {
    let store = place.store();
    assert_eq!(store.axes().expect("axes").len(), 3);
    assert_eq!(check_whole(&store), count);
    // No line of the journal came twice, either.
    let settings = store.journal(i64::MIN, i64::MAX).expect("a journal");
    assert_eq!(settings.iter().filter(|entry| entry.what == "settings").count(), 3);
    let before = tables(&place.0);
    place.store().rebuild().expect("room");
    assert_eq!(tables(&place.0), before);
}

#[test]
fn orphans_of_the_line_become_the_monitors() {
    let place = Scratch::new("late-hello");
    let (chunks, count) = shift(60);
    let mut log = place.log(&Options::default());
    // Push frames until they no longer fit in memory and are stored without a monitor's name.
    let mut now = BEGIN;
    while log.stats().stored == 0 {
        now = push(&mut log, &chunks[1..], now);
        log.commit();
    }
    now = push(&mut log, &chunks[..1], now);
    log.commit();
    // And all of it again.
    push(&mut log, &chunks, now);
    let (store, stats) = log.finish().expect("room");
    assert_eq!(stats.stored, store.check().expect("readable").frames, "{stats:?}");
    drop(store);
    check_one(&place, count);
}

#[test]
fn orphans_of_another_line_become_the_monitors_that_has_their_moves() {
    let place = Scratch::new("part");
    let (chunks, count) = shift(61);
    let mut log = place.log(&Options::default());
    let now = push(&mut log, &chunks[40..90], BEGIN);
    log.finish().expect("room");
    let mut log = place.log(&Options::default());
    push(&mut log, &chunks, now);
    log.finish().expect("room");
    check_one(&place, count);
}

#[test]
fn orphans_of_another_monitor_stay_apart() {
    let place = Scratch::new("others");
    let ((part, _), (whole, count)) = (shift(62), shift(63));
    let mut log = place.log(&Options::default());
    let now = push(&mut log, &part[40..90], BEGIN);
    let orphans = log.finish().expect("room").0.check().expect("readable").frames;
    let mut log = place.log(&Options::default());
    push(&mut log, &whole, now);
    let (store, stats) = log.finish().expect("room");
    assert!(orphans > 30);
    assert_eq!(store.check().expect("readable").frames, orphans + stats.stored);
    // Their tick rate is not known, so that no time of theirs is stated.
    assert_eq!((numbers(&store).len(), store.axes().expect("axes").len()), (count, 3));
    assert!(store.check().expect("readable").is_sound());
}

#[test]
fn orphans_are_stored_at_once_and_survive_a_kill() {
    let place = Scratch::new("killed-orphans");
    let (chunks, count) = shift(64);
    let mut log = place.log(&Options::default());
    let now = push(&mut log, &chunks[40..60], BEGIN);
    assert!(log.commit());
    let frames = log.stats().stored;
    assert!(frames > 10 && log.stats().waiting == 0, "{:?}", log.stats());
    // As by a kill: nothing more is written.
    drop(log);
    assert_eq!(place.store().check().expect("readable").frames, frames);
    // All of it again, from the monitor's log: the orphans are found to be its own.
    let mut log = place.log(&Options::default());
    push(&mut log, &chunks, now);
    log.finish().expect("room");
    check_one(&place, count);
}
