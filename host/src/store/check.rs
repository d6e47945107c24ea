//! In: a store. Out: whether the file is sound, its frames are complete, and its tables are those that follow from them.

use std::collections::HashSet;

use rusqlite::{Connection, params};
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;

use super::database::Store;
use super::frame::StoredFrame;
use crate::error::Error;

/// Frames that are missing: device, boot, first, how many.
pub type Hole = (i64, u32, u32, u32);

/// The state of a store.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CheckReport {
    /// SQLite's verdict on the file; `ok` if it is sound. If it is damaged, nothing else is checked.
    pub file: String,
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
}

impl CheckReport {
    /// Whether nothing is wrong with what is stored.
    pub fn is_sound(&self) -> bool {
        self.file == "ok" && self.damaged == 0 && self.move_frames - self.repeated == self.moves
    }
}

impl Store {
    /// Reads everything. Takes about a second for a million frames.
    pub fn check(&self) -> Result<CheckReport, Error> {
        check(&self.connection).map_err(|error| self.fault(&error))
    }
}

fn check(store: &Connection) -> rusqlite::Result<CheckReport> {
    let file: String = store.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
    if file != "ok" {
        return Ok(CheckReport { file, ..CheckReport::default() });
    }
    let mut report = CheckReport {
        file,
        moves: store.query_row("SELECT count(*) FROM moves", [], |row| row.get::<_, i64>(0))? as u64,
        ..CheckReport::default()
    };
    let unnamed = unnamed(store)?;
    let identity = |frame: &StoredFrame| identity(frame).filter(|(device, ..)| !unnamed.contains(device));
    each(store, &mut |frame| {
        report.frames += 1;
        match frame {
            None => report.damaged += 1,
            Some(frame) => report.move_frames += u64::from(identity(&frame).is_some()),
        }
    })?;
    if report.move_frames != report.moves {
        // The set of all moves takes memory, so it is made only if the counts differ.
        let mut moves = HashSet::new();
        each(store, &mut |frame| {
            let identity = frame.as_ref().and_then(&identity);
            report.repeated += u64::from(identity.is_some_and(|identity| !moves.insert(identity)));
        })?;
    }
    for (hole, is_given_up) in holes(store)? {
        if is_given_up { &mut report.given_up } else { &mut report.missing }.push(hole);
    }
    Ok(report)
}

/// Monitors that have not named themselves.
fn unnamed(store: &Connection) -> rusqlite::Result<HashSet<i64>> {
    let sql = "SELECT id FROM devices WHERE coalesce(ticks_per_second, 0) = 0";
    store.prepare(sql)?.query_map([], |row| row.get(0))?.collect()
}

/// Passes every frame to `out`; none for a damaged one.
fn each(store: &Connection, out: &mut dyn FnMut(Option<StoredFrame>)) -> rusqlite::Result<()> {
    let mut statement = store.prepare_cached("SELECT device, body FROM frames")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        out(StoredFrame::new(row.get(0)?, 0, row.get_ref(1)?.as_blob()?));
    }
    Ok(())
}

/// The key of a move in the table, if the frame has one: device, start, axis, command end and number.
fn identity(frame: &StoredFrame) -> Option<(i64, u32, u8, u64, u32)> {
    let Some(Message::Move(wire)) = frame.message() else { return None };
    let command_end = wire.start.wrapping_add(wire.duration);
    Some((frame.device, frame.frame.header.boot, wire.axis, command_end, wire.number))
}

/// Every hole, and whether it was given up.
fn holes(store: &Connection) -> rusqlite::Result<Vec<(Hole, bool)>> {
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
