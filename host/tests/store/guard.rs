//! A mistyped option or a wrong clock destroys nothing, and each command reports what it did.

use std::fs;

use stillpoint::checksum::FastCrc;
use stillpoint::store::retain::Retention;
use stillpoint::store::time;
use stillpoint_core::wire::frame::{Frame, encode_body};
use stillpoint_core::wire::header::Header;
use stillpoint_core::wire::message::Message;

use super::commands::{done, refused, stillpoint};
use super::*;

/// Unit: µs
const DAY: i64 = 86_400_000_000;

/// A store with a few seconds of a monitor at each of these times. Unit: µs since 1970, UTC
fn filled(place: &Scratch, times: &[i64]) -> Store {
    for (number, time) in times.iter().enumerate() {
        let named = Some([number as u8 + 1; 12]);
        let mut log = Log::open(&place.0, &Options::default(), named, vec![]).expect("a store");
        push(&mut log, &Line::new(70).run(60), *time);
        log.finish().expect("room");
    }
    place.store()
}

/// Exit status and stderr.
fn run(arguments: &[&str]) -> (Option<i32>, String) {
    let output = stillpoint(arguments);
    (output.status.code(), String::from_utf8(output.stderr).expect("UTF-8"))
}

#[test]
fn more_days_than_stored_delete_nothing() {
    let place = Scratch::new("long");
    let mut store = filled(&place, &[BEGIN]);
    let all = numbers(&store).len();
    for days in [36_500, 106_751_992, 160_000_000, u32::MAX] {
        let removed = store.retain(Retention::Days(days), BEGIN + DAY).expect("room");
        assert_eq!((removed.moves, numbers(&store).len()), (0, all), "{days}");
        assert!(removed.before.is_none_or(|before| before < BEGIN), "{days}: {removed:?}");
    }
    for days in ["36501", "106751992", "4294967295"] {
        let retain = ["store", "retain", "--store", &place.text(), "--days", days, "--who", "M. Ito"];
        refused(&retain, 2, &["--days", days, "from 0 to 36500"]);
    }
}

#[test]
fn days_are_counted_from_the_newest_move_if_the_clock_is_ahead() {
    let place = Scratch::new("ahead");
    let mut store = filled(&place, &[BEGIN, BEGIN + 5 * DAY]);
    let newest = filled(&Scratch::new("ahead-alone"), &[BEGIN]).check().expect("readable").moves;
    for keep in [Retention::Days(2), Retention::Bytes(1)] {
        let removed = store.retain(keep, BEGIN + 4000 * DAY).expect("room");
        assert!(removed.before.is_none_or(|before| before <= BEGIN + 5 * DAY), "{removed:?}");
        assert_eq!(numbers(&store).len() as u64, newest, "{keep:?}");
    }
}

#[test]
fn a_watch_deletes_older_days_if_it_is_asked_to() {
    let (place, frames) = (Scratch::new("keep"), Scratch::new("keep-frames"));
    let old = filled(&place, &[BEGIN]).check().expect("readable").moves;
    fs::write(&frames.0, Line::new(71).run(60).concat()).expect("room");
    let source = format!("file:{}", frames.text());
    let watch = ["watch", &source, "--store", &place.text(), "--keep-days", "1"];
    let (status, stderr) = run(&watch);
    assert!(status == Some(0) && stderr.contains(&format!(" and {old} moves")), "{stderr}");
    let found = place.store().check().expect("readable");
    assert!(found.is_sound() && found.moves > 10, "{found:?}");
    refused(&["watch", &source, "--keep-days", "1"], 2, &["--store"]);
    refused(&[&watch[..], &["--keep-megabytes", "5"]].concat(), 2, &["--keep-megabytes"]);
}

#[test]
fn a_retention_in_the_future_is_reported_and_put_right() {
    let place = Scratch::new("future");
    drop(filled(&place, &[BEGIN]));
    let raw = rusqlite::Connection::open(&place.0).expect("a file");
    raw.execute("INSERT OR REPLACE INTO marks (name, value) VALUES ('horizon_us', ?1)", [BEGIN + 4000 * DAY])
        .expect("SQL");
    drop(raw);
    let refused_moves = |now| {
        let mut log = Log::open(&place.0, &Options::default(), Some([1; 12]), vec![]).expect("a store");
        push(&mut log, &Line::new(70).run(60), now);
        log.commit();
        let notes = log.drain_notes();
        (log.finish().expect("room").1.past, notes)
    };
    let (past, notes) = refused_moves(BEGIN + DAY);
    let parts = ["lies in the future", &time::text(BEGIN + 4000 * DAY), "stillpoint store retain"];
    let matching = notes.iter().filter(|note| parts.iter().all(|part| note.contains(part))).count();
    assert!(past > 10 && matching == 1, "{past} {notes:?}");
    let mut store = place.store();
    let removed = store.retain(Retention::Days(30), BEGIN + DAY).expect("room");
    assert!(removed.moves == 0 && removed.before.is_some_and(|before| before <= BEGIN), "{removed:?}");
    let journal = store.journal(i64::MIN, i64::MAX).expect("a journal");
    assert!(journal.iter().any(|entry| entry.text.contains("lay in the future")), "{journal:?}");
    drop(store);
    assert_eq!(refused_moves(BEGIN + 2 * DAY).0, 0);
}

#[test]
fn an_export_never_overwrites_its_store() {
    let place = Scratch::new("itself.csv");
    let count = filled(&place, &[BEGIN]).check().expect("readable").moves;
    let store = place.text();
    for file in [&store, &store.replace("/stillpoint-", "/./stillpoint-")] {
        refused(&["store", "export", "--store", &store, file], 2, &["is the store itself", "another file"]);
        assert_eq!(place.store().check().expect("readable").moves, count);
    }
    // Nor by another name.
    #[cfg(unix)]
    {
        let link = Scratch::new("link.csv");
        std::os::unix::fs::symlink(&place.0, &link.0).expect("a link");
        refused(&["store", "export", "--store", &store, &link.text()], 2, &["is the store itself"]);
        assert_eq!(place.store().check().expect("readable").moves, count);
    }
}

#[test]
fn an_export_that_fails_leaves_what_was_there() {
    let (place, folder) = (Scratch::new("whole"), Scratch::new("whole.d"));
    drop(filled(&place, &[BEGIN]));
    fs::create_dir_all(&folder.0).expect("a folder");
    let (store, file) = (place.text(), folder.0.join("week.csv"));
    let (name, wrong) = (file.display().to_string(), ["--axis", "nope"]);
    let export = |more: &[&str]| run(&[&["store", "export", "--store", &store, &name], more].concat());
    let files = || fs::read_dir(&folder.0).expect("a folder").count();
    assert_eq!((export(&wrong).0, files()), (Some(2), 0), "no file is left");
    let (status, stderr) = export(&[]);
    assert_eq!(status, Some(0));
    let before = fs::read_to_string(&file).expect("a file");
    let rows = before.lines().count() - 1;
    assert!(rows > 20 && stderr == format!("{name}: {rows} moves written\n"), "{stderr}");
    assert_eq!(export(&wrong).0, Some(2));
    assert_eq!((fs::read_to_string(&file).expect("a file"), files()), (before, 1));
    let (status, stderr) = export(&["--summaries"]);
    let rows = fs::read_to_string(&file).expect("a file").lines().count() - 1;
    assert_eq!((status, stderr), (Some(0), format!("{name}: {rows} summaries written\n")));
    let nowhere = folder.0.join("none").join("week.csv").display().to_string();
    refused(&["store", "export", "--store", &store, &nowhere], 1, &["none/week.csv: can't be written"]);
    fs::remove_dir_all(&folder.0).expect("a folder");
}

#[test]
fn a_move_in_two_frames_is_no_fault_of_the_tables() {
    let place = Scratch::new("repeated");
    let before = filled(&place, &[BEGIN]).check().expect("readable");
    let raw = rusqlite::Connection::open(&place.0).expect("a file");
    let bodies: Vec<Vec<u8>> = raw
        .prepare("SELECT body FROM moves ORDER BY sequence LIMIT 5")
        .and_then(|mut moves| moves.query_map([], |row| row.get(0))?.collect())
        .expect("SQL");
    for body in &bodies {
        let (sequence, again) = numbered_anew(body);
        let insert = "INSERT INTO frames SELECT device, boot, priority, ?1, arrived_us, ?2 FROM frames WHERE body = ?3";
        assert_eq!(raw.execute(insert, rusqlite::params![sequence, again, body]).expect("SQL"), 1);
    }
    drop(raw);
    // The summaries count frames.
    place.store().rebuild().expect("room");
    let found = place.store().check().expect("readable");
    assert!(
        found.is_sound()
            && found.repeated == 5
            && found.move_frames == before.move_frames + 5
            && found.moves == before.moves,
        "{found:?}"
    );
    let report = done(&["store", "check", "--store", &place.text()]);
    assert!(report.contains("5 frames with a move of another frame"), "{report}");
}

/// The same move in a frame of another number.
fn numbered_anew(body: &[u8]) -> (u32, Vec<u8>) {
    let frame = Frame::check::<FastCrc>(body).expect("a frame");
    let message: Message = frame.read().expect("a move").payload;
    let header = Header { sequence: frame.header.sequence + 100_000, ..frame.header };
    let mut buffer = [0; stillpoint_core::wire::LONGEST_BODY];
    (header.sequence, encode_body::<FastCrc>(&header, &message, &mut buffer).expect("it fits").to_vec())
}
