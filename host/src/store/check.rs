//! In: a store. Out: whether the file is sound, its frames whole, and its tables those that follow from them.

use std::collections::HashSet;

use rusqlite::{Connection, params};
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;

use super::Store;
use super::derive::Stored;
use crate::error::Error;

/// Frames that are missing: device, boot, first, how many.
pub type Hole = (i64, u32, u32, u32);

/// What a look through the whole store found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// What SQLite says of the file; `ok` if nothing. Of a damaged one nothing else is looked at.
    pub file: String,
    /// Raw frames.
    pub frames: u64,
    /// Of them, those whose check sum is wrong.
    pub damaged: u64,
    /// Of them, those of moves.
    pub told: u64,
    /// Of those, frames that tell a move once more, under another number: the table has it once.
    pub again: u64,
    /// Rows of moves; as many as moves are told if all is well.
    pub moves: u64,
    /// Frames of moves that are missing between others and not given up.
    pub missing: Vec<Hole>,
    /// Those that the monitor's log no longer has, so that they are not asked for again.
    pub given_up: Vec<Hole>,
}

impl Found {
    /// Nothing is wrong with what is stored.
    pub fn is_sound(&self) -> bool {
        self.file == "ok" && self.damaged == 0 && self.told - self.again == self.moves
    }
}

impl Store {
    /// Reads everything. Takes about a second for a million frames.
    pub fn check(&self) -> Result<Found, Error> {
        self.look().map_err(|error| self.fault(&error))
    }

    fn look(&self) -> rusqlite::Result<Found> {
        let store = &self.connection;
        let file: String = store.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
        if file != "ok" {
            return Ok(Found { file, ..Found::default() });
        }
        let mut found = Found {
            file,
            moves: store.query_row("SELECT count(*) FROM moves", [], |row| row.get::<_, i64>(0))? as u64,
            ..Found::default()
        };
        each(store, &mut |stored| {
            found.frames += 1;
            match stored {
                None => found.damaged += 1,
                Some(stored) => found.told += u64::from(identity(&stored).is_some()),
            }
        })?;
        if found.told != found.moves {
            // Only then is it worth the room.
            let mut moves = HashSet::new();
            each(store, &mut |stored| {
                let told = stored.as_ref().and_then(identity);
                found.again += u64::from(told.is_some_and(|told| !moves.insert(told)));
            })?;
        }
        for (hole, is_given_up) in holes(store)? {
            if is_given_up { &mut found.given_up } else { &mut found.missing }.push(hole);
        }
        Ok(found)
    }
}

/// Hands out every frame; none for one that is damaged.
fn each(store: &Connection, out: &mut dyn FnMut(Option<Stored>)) -> rusqlite::Result<()> {
    let mut statement = store.prepare_cached("SELECT device, body FROM frames")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        out(Stored::new(row.get(0)?, 0, row.get_ref(1)?.as_blob()?));
    }
    Ok(())
}

/// What the table knows a move by, if the frame tells one: device, start, axis, command end and number.
fn identity(stored: &Stored) -> Option<(i64, u32, u8, u64, u32)> {
    let Some(Message::Move(told)) = stored.message() else { return None };
    let command_end = told.start.wrapping_add(told.duration);
    Some((stored.device, stored.frame.header.boot, told.axis, command_end, told.number))
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
