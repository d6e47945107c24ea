//! A store with overwritten pages: it is refused with a remedy, and the remedy works.

use std::io::{Seek, SeekFrom, Write};

use stillpoint::store::rescue::rescue;

use super::commands::done;
use super::*;

/// Unit: bytes
const PAGE: u64 = 4096;

/// A store with moves and a note, in one file.
fn store(place: &Scratch) -> usize {
    let mut log = place.log(&Options::default());
    push(&mut log, &Line::new(41).run(900), BEGIN);
    let (store, _) = log.finish().expect("room");
    store.add_note("M. Ito", "note", "belt tightened").expect("a line");
    let moves = check_whole(&store);
    drop(store);
    let file = rusqlite::Connection::open(&place.0).expect("a file");
    file.pragma_update(None, "journal_mode", "DELETE").expect("one file");
    moves
}

/// Overwrites a leaf in the middle of a table.
fn damage(place: &Scratch, table: &str) {
    let file = rusqlite::Connection::open(&place.0).expect("a file");
    let sql = "SELECT rootpage FROM sqlite_master WHERE name = ?1";
    let root: u64 = file.query_row(sql, [table], |row| row.get::<_, i64>(0)).expect("a table") as u64;
    drop(file);
    let bytes = std::fs::read(&place.0).expect("a file");
    let page = &bytes[((root - 1) * PAGE) as usize..][..PAGE as usize];
    let inner = [2, 5].contains(&page[0]);
    let cells = u16::from_be_bytes([page[3], page[4]]);
    assert!(inner && cells > 2, "{table} is too small to be damaged in the middle");
    // SQLite file format, 1.6: after 12 bytes the places of the cells, each of which begins with its left child.
    let middle = 12 + usize::from(cells / 2) * 2;
    let cell = usize::from(u16::from_be_bytes([page[middle], page[middle + 1]]));
    let child = u32::from_be_bytes(page[cell..cell + 4].try_into().expect("four bytes"));
    let mut file = std::fs::OpenOptions::new().write(true).open(&place.0).expect("a file");
    file.seek(SeekFrom::Start((u64::from(child) - 1) * PAGE)).expect("a page");
    file.write_all(&[0xA5; PAGE as usize]).expect("room");
}

/// The error of reading its moves.
fn error_of(place: &Scratch) -> String {
    let Ok(store) = Store::open(&place.0, &Options::default()) else { return "refused".to_owned() };
    store.moves(&MoveQuery::default(), &mut |_| Ok(())).expect_err("damage").to_string()
}

#[test]
fn a_damaged_derived_table_costs_nothing() {
    let (place, new) = (Scratch::new("damaged-moves"), Scratch::new("rescued-moves"));
    let moves = store(&place);
    let before = tables(&place.0);
    damage(&place, "moves");
    let error = error_of(&place);
    assert!(
        error.contains("the file is damaged") && error.contains("store rescue --store PATH NEW"),
        "{error}"
    );
    let found = place.store().check().expect("what is wrong");
    assert!(found.file != "ok" && !found.is_sound(), "{found:?}");
    let rescued = rescue(&place.0, &new.0, &Options::default()).expect("frames");
    assert!(rescued.remade == 0 && rescued.missing == 0 && rescued.moves as usize == moves, "{rescued:?}");
    assert!(rescued.lost.len() == 1 && rescued.lost[0].starts_with("1 pages"), "{rescued:?}");
    assert_eq!(check_whole(&new.store()), moves);
    let mut after = tables(&new.0);
    after.retain(|row| !row.contains("rescued: "));
    assert_eq!(after, before);
    let error = rescue(&place.0, &new.0, &Options::default()).expect_err("it is there").to_string();
    assert!(error.contains("is there already"), "{error}");
}

#[test]
fn frames_are_made_again_from_the_rows_of_moves() {
    let (place, new) = (Scratch::new("damaged-frames"), Scratch::new("rescued-frames"));
    let moves = store(&place);
    let before = place.store().check().expect("readable");
    damage(&place, "frames");
    let damaged = place.store().check().expect("readable");
    let output = super::commands::stillpoint(&["store", "check", "--store", &place.text()]);
    let report = String::from_utf8(output.stdout).expect("UTF-8");
    assert!(
        !damaged.is_compared && !report.contains("raw frames:"),
        "what was not read is not counted: {report}"
    );
    assert!(damaged.wrong.len() >= 2 && damaged.wrong[0].starts_with("the file: "), "{damaged:?}");
    let rescued = rescue(&place.0, &new.0, &Options::default()).expect("frames");
    assert!(rescued.remade > 5 && rescued.moves as usize == moves, "{rescued:?}");
    assert!(rescued.frames <= before.frames, "{rescued:?} of {}", before.frames);
    let words = rescued.to_string();
    assert!(words.contains("lost: 1 pages of the file") && words.contains("lost: frames: "), "{words}");
    let store = new.store();
    assert_eq!(check_whole(&store), moves);
    let notes = store.journal(i64::MIN, i64::MAX).expect("a journal");
    assert!(notes.iter().any(|entry| entry.text == "belt tightened"), "{notes:?}");
    let found = store.check().expect("readable");
    assert!(found.rescued.len() == 1 && found.rescued[0].contains("1 pages of the file"), "{found:?}");
    drop(store);
    let report = done(&["store", "check", "--store", &new.text()]);
    assert!(report.starts_with("a rescued store, out of stillpoint-"), "{report}");
}

#[test]
fn of_what_is_no_store_nothing_is_rescued() {
    let (place, new) = (Scratch::new("damaged-head"), Scratch::new("rescued-head"));
    let refused = |part: &str| {
        let error = rescue(&place.0, &new.0, &Options::default()).expect_err("nothing").to_string();
        assert!(error.contains(part) && !new.0.exists(), "{error}");
    };
    refused("there is no store here");
    std::fs::write(&place.0, [0xA5; 3 * PAGE as usize]).expect("a file");
    refused("nothing of a store can be read; restore the file from a copy");
}

/// Device, start, priority, number and body of every frame.
fn frames(path: &Path) -> Vec<(i64, i64, i64, i64, Vec<u8>)> {
    let store = rusqlite::Connection::open(path).expect("a file");
    let mut statement = store
        .prepare("SELECT device, boot, priority, sequence, body FROM frames ORDER BY 1, 2, 3, 4")
        .expect("a table");
    let rows =
        statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?)));
    rows.expect("rows").collect::<Result<_, _>>().expect("rows")
}

#[test]
fn of_the_log_that_is_used_which_sqlite_uses() {
    let (place, copy, new) = (Scratch::new("wal"), Scratch::new("wal-copy"), Scratch::new("wal-new"));
    let mut log = place.log(&Options::default());
    let mut line = Line::new(42);
    let mut now = BEGIN;
    for _ in 0..6 {
        now = push(&mut log, &line.run(30), now);
        assert!(log.commit());
    }
    let (main, whole) = (std::fs::read(&place.0), std::fs::read(format!("{}-wal", place.text())));
    let (main, whole) = (main.expect("a file"), whole.expect("a log"));
    drop(log);
    let mut counts = vec![];
    for (cut, flip) in [(100, 0), (100, 70), (80, 0), (50, 0), (45, 20), (3, 0)] {
        copy.clear();
        new.clear();
        std::fs::write(&copy.0, &main).expect("room");
        let mut part = whole[..whole.len() * cut / 100].to_vec();
        let at = part.len() * flip / 100;
        part[at] ^= u8::from(flip > 0);
        std::fs::write(format!("{}-wal", copy.text()), &part).expect("room");
        // The rescue comes first, as SQLite takes the log into the file when it closes it.
        let rescued = rescue(&copy.0, &new.0, &Options::default());
        let theirs = std::panic::catch_unwind(|| frames(&copy.0)).unwrap_or_default();
        match rescued {
            Ok(rescued) => assert_eq!(frames(&new.0), theirs, "{cut} {flip}: {rescued}"),
            Err(error) => assert!(theirs.is_empty(), "{cut} {flip}: {error}"),
        }
        counts.push(theirs.len());
    }
    assert!(counts[0] > 200 && counts[1] < counts[0] && counts[3] < counts[2] && counts[3] > 0, "{counts:?}");
}

#[test]
fn rows_that_were_deleted_do_not_come_back() {
    let (place, new) = (Scratch::new("deleted"), Scratch::new("deleted-new"));
    store(&place);
    let raw = rusqlite::Connection::open(&place.0).expect("a file");
    raw.execute_batch(
        "DELETE FROM frames WHERE sequence % 1000 > 150; DELETE FROM moves WHERE sequence > 150",
    )
    .expect("SQL");
    let free: i64 = raw.pragma_query_value(None, "freelist_count", |row| row.get(0)).expect("a count");
    assert!(free > 20, "{free}");
    drop(raw);
    let theirs = frames(&place.0);
    let rescued = rescue(&place.0, &new.0, &Options::default()).expect("frames");
    assert_eq!(frames(&new.0), theirs, "{rescued}");
    // Without the list of free pages, which begins on the first one, the pointer maps say it.
    let mut bytes = std::fs::read(&place.0).expect("a file");
    bytes[..PAGE as usize].fill(0);
    std::fs::write(&place.0, &bytes).expect("room");
    new.clear();
    let rescued = rescue(&place.0, &new.0, &Options::default()).expect("frames");
    assert_eq!(frames(&new.0), theirs, "{rescued}");
    assert!(rescued.lost.iter().all(|lost| !lost.contains("free")), "{rescued}");
    // Without those either, it is said that it can't be known.
    bytes[PAGE as usize..2 * PAGE as usize].fill(0xA5);
    std::fs::write(&place.0, &bytes).expect("room");
    new.clear();
    let rescued = rescue(&place.0, &new.0, &Options::default()).expect("frames");
    assert!(rescued.frames as usize > theirs.len(), "{rescued}");
    assert!(
        rescued.lost.iter().any(|lost| lost.contains("which pages were free can't be known")),
        "{rescued}"
    );
}
