//! In: a store. Out: whether all that is stored is what was written, and whether frames are missing.
//!
//! Every part is checked whatever was found in the others, as far as its rows can be read: the file by SQLite, the
//! schema, frames by their checksums, tables by what follows from the frames, other rows by their digests, the journal
//! by its chain.

use rusqlite::{Connection, params};
use stillpoint_core::wire::header::Priority;

use super::agreement::{self, Agreement};
use super::database::Store;
use super::marks::{self, HORIZON};
use super::seal::{self, SEALED};
use super::{journal, schema};
use crate::error::Error;

/// Frames that are missing: device, boot, first, how many.
pub type Hole = (i64, u32, u32, u32);

/// Most faults of the file that SQLite lists.
const MOST_FAULTS: usize = 100;

/// The state of a store.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CheckReport {
    /// SQLite's verdict on the file; `ok` if its pages are sound.
    pub file: String,
    /// Whether the frames could be read to the end and the tables compared with them; if not, their counts are 0.
    pub is_compared: bool,
    /// Raw frames.
    pub frames: u64,
    /// Of them, frames whose checksum is wrong.
    pub damaged: u64,
    /// Of them, frames of moves, of monitors that have named themselves: no row follows from others.
    pub move_frames: u64,
    /// Of those, frames with a move that another frame has too, under another number: the table has it once.
    pub repeated: u64,
    /// Rows of moves; one per move that has a frame, if all is well.
    pub moves: u64,
    /// Frames of moves that are missing between others and not given up.
    pub missing: Vec<Hole>,
    /// Missing frames that the monitor's log no longer has, so that they are not requested again.
    pub given_up: Vec<Hole>,
    /// Number and digest of the newest line of the journal.
    pub journal: Option<(i64, String)>,
    /// What the journal says of a rescue; empty if the store is not a rescued one.
    pub rescued: Vec<String>,
    /// All that is wrong with what is stored, in words.
    pub wrong: Vec<String>,
}

impl CheckReport {
    /// Whether nothing is wrong with what is stored.
    pub fn is_sound(&self) -> bool {
        self.wrong.is_empty()
    }
}

impl Store {
    /// Reads everything, and derives all tables again. Takes some seconds for a million moves.
    pub fn check(&self) -> Result<CheckReport, Error> {
        // One state of the store, whoever writes meanwhile.
        let store = self.connection.unchecked_transaction().map_err(|error| self.fault(&error))?;
        Ok(check(&store))
    }
}

/// Checks a part, and adds what it found to the report.
type Check = fn(&Connection, &mut CheckReport) -> rusqlite::Result<()>;

fn check(store: &Connection) -> CheckReport {
    let mut report = CheckReport::default();
    let parts: [(&str, Check); 6] = [
        ("the file", check_file),
        ("the schema", check_schema),
        ("frames and the tables that follow from them", check_frames),
        ("rows with digests", check_digests),
        ("the journal", check_journal),
        ("missing frames", check_holes),
    ];
    for (part, check) in parts {
        if let Err(error) = check(store, &mut report) {
            report.wrong.push(format!("{part}: can't be read to the end and were not checked: {error}"));
        }
    }
    report
}

fn check_file(store: &Connection, report: &mut CheckReport) -> rusqlite::Result<()> {
    report.file = "can't be read".to_owned();
    let mut statement = store.prepare(&format!("PRAGMA integrity_check({MOST_FAULTS})"))?;
    let faults: Vec<String> = statement.query_map([], |row| row.get(0))?.collect::<rusqlite::Result<_>>()?;
    let first = faults.first().map_or("can't be read", String::as_str).replace('\n', "; ");
    if first != "ok" {
        let more = if faults.len() == MOST_FAULTS { " or more" } else { "" };
        report
            .wrong
            .push(format!("the file: {}{more} faults of its pages, the first: {first}", faults.len()));
    }
    report.file = first;
    Ok(())
}

fn check_schema(store: &Connection, report: &mut CheckReport) -> rusqlite::Result<()> {
    let (foreign, missing) = schema::differences(store)?;
    report.wrong.extend(foreign.into_iter().chain(missing).map(|wrong| format!("the schema: {wrong}")));
    Ok(())
}

fn check_frames(store: &Connection, report: &mut CheckReport) -> rusqlite::Result<()> {
    let found = agreement::compare(store)?;
    let Agreement { frames, damaged, misplaced, move_frames, repeated, moves, wrong } = found;
    if damaged > 0 {
        report.wrong.push(format!("frames: {damaged} have a wrong checksum"));
    }
    if misplaced > 0 {
        report.wrong.push(format!("frames: {misplaced} are stored under numbers that are not theirs"));
    }
    report.wrong.extend(wrong);
    *report = CheckReport {
        is_compared: true,
        frames,
        damaged,
        move_frames,
        repeated,
        moves,
        ..std::mem::take(report)
    };
    Ok(())
}

fn check_digests(store: &Connection, report: &mut CheckReport) -> rusqlite::Result<()> {
    let mut note = |table: &str, rows: u64| {
        if rows > 0 {
            report.wrong.push(format!("{table}: {rows} rows do not fit their digests"));
        }
    };
    for (table, _) in SEALED {
        note(table, seal::unfit(store, table)?);
    }
    note("summaries", seal::unfit_summaries(store, marks::read(store, HORIZON)?)?);
    Ok(())
}

fn check_journal(store: &Connection, report: &mut CheckReport) -> rusqlite::Result<()> {
    report.journal = seal::newest_line(store)?;
    report.rescued = store
        .prepare("SELECT text FROM journal WHERE who = 'store' AND what = ?1 ORDER BY id")?
        .query_map([journal::RESCUE], |row| row.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    if let Some(line) = seal::first_broken_line(store)? {
        report.wrong.push(format!(
            "the journal: line {line} does not fit the line before it: one of the two was changed, or lines between \
            them were removed"
        ));
    }
    Ok(())
}

fn check_holes(store: &Connection, report: &mut CheckReport) -> rusqlite::Result<()> {
    for (hole, is_given_up) in holes(store)? {
        if is_given_up { &mut report.given_up } else { &mut report.missing }.push(hole);
    }
    Ok(())
}

/// Every hole, and whether it was given up.
pub(super) fn holes(store: &Connection) -> rusqlite::Result<Vec<(Hole, bool)>> {
    let mut statement = store.prepare(
        "SELECT frames.device, frames.boot, before + 1, sequence - before - 1,
            sequence <= coalesce(gone_before, 0) FROM (
            SELECT device, boot, sequence,
                lag(sequence) OVER (PARTITION BY device, boot ORDER BY sequence) AS before
            FROM frames WHERE priority = ?1) AS frames
        LEFT JOIN boots ON boots.device = frames.device AND boots.boot = frames.boot
        WHERE sequence > before + 1 AND before >= coalesce(whole_from, 0)",
    )?;
    let rows = statement.query_map(params![Priority::Move as u8], |row| {
        Ok(((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?), row.get(4)?))
    })?;
    rows.collect()
}
