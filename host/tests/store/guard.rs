//! A slip of the hand, or a wrong clock, destroys nothing; and what was done is said.

use stillpoint::store::retain::Keep;
use stillpoint::store::time;

use super::commands::refused;
use super::*;

/// Unit: µs
const DAY: i64 = 86_400_000_000;

/// A store with a few seconds of a monitor at each of these times. Unit: µs since 1970, UTC
fn filled(place: &Scratch, times: &[i64]) -> Store {
    for (number, time) in times.iter().enumerate() {
        let named = Some([number as u8 + 1; 12]);
        let mut log = Log::open(&place.0, &Options::default(), named, vec![]).expect("a store");
        hear(&mut log, &Line::new(70).run(60), *time);
        log.finish().expect("room");
    }
    place.store()
}

#[test]
fn more_days_than_there_are_keep_all() {
    let place = Scratch::new("long");
    let mut store = filled(&place, &[BEGIN]);
    let all = numbers(&store).len();
    for days in [36_500, 106_751_992, 160_000_000, u32::MAX] {
        let gone = store.retain(Keep::Days(days), BEGIN + DAY).expect("room");
        assert_eq!((gone.moves, numbers(&store).len()), (0, all), "{days}");
        assert!(gone.before.is_none_or(|before| before < BEGIN), "{days}: {gone:?}");
    }
    for days in ["36501", "106751992", "4294967295"] {
        let retain = ["store", "retain", "--store", &place.text(), "--days", days];
        refused(&retain, 2, &["--days", days, "from 0 to 36500"]);
    }
}

#[test]
fn days_are_counted_from_the_newest_move_if_the_clock_is_ahead() {
    let place = Scratch::new("ahead");
    let mut store = filled(&place, &[BEGIN, BEGIN + 5 * DAY]);
    let newest = filled(&Scratch::new("ahead-alone"), &[BEGIN]).check().expect("readable").moves;
    for keep in [Keep::Days(2), Keep::Bytes(1)] {
        let gone = store.retain(keep, BEGIN + 4000 * DAY).expect("room");
        assert!(gone.before.is_none_or(|before| before <= BEGIN + 5 * DAY), "{gone:?}");
        assert_eq!(numbers(&store).len() as u64, newest, "{keep:?}");
    }
}

#[test]
fn a_retention_that_lies_in_the_future_is_told_and_put_right() {
    let place = Scratch::new("future");
    drop(filled(&place, &[BEGIN]));
    let raw = rusqlite::Connection::open(&place.0).expect("a file");
    raw.execute("INSERT OR REPLACE INTO marks VALUES ('horizon_us', ?1)", [BEGIN + 4000 * DAY]).expect("SQL");
    drop(raw);
    let swallowed = |now| {
        let mut log = Log::open(&place.0, &Options::default(), Some([1; 12]), vec![]).expect("a store");
        hear(&mut log, &Line::new(70).run(60), now);
        log.commit();
        let notes = log.notes();
        (log.finish().expect("room").1.past, notes)
    };
    let (past, notes) = swallowed(BEGIN + DAY);
    let parts = ["lies in the future", &time::text(BEGIN + 4000 * DAY), "stillpoint store retain"];
    let told = notes.iter().filter(|note| parts.iter().all(|part| note.contains(part))).count();
    assert!(past > 10 && told == 1, "{past} {notes:?}");
    let mut store = place.store();
    let gone = store.retain(Keep::Days(30), BEGIN + DAY).expect("room");
    assert!(gone.moves == 0 && gone.before.is_some_and(|before| before <= BEGIN), "{gone:?}");
    let journal = store.journal(i64::MIN, i64::MAX).expect("a journal");
    assert!(journal.iter().any(|entry| entry.text.contains("lay in the future")), "{journal:?}");
    drop(store);
    assert_eq!(swallowed(BEGIN + 2 * DAY).0, 0);
}
