//! In: what happened and who did it. Out: the append-only journal.

use rusqlite::{Connection, params};
use stillpoint_core::wire::header::Header;

use super::group::newest;
use super::{Store, time};
use crate::error::Error;

/// What a frame is known by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Key {
    pub(super) device: i64,
    pub(super) boot: u32,
    pub(super) priority: u8,
    pub(super) sequence: u32,
}

impl Key {
    pub(super) fn new(device: i64, header: &Header) -> Key {
        Key { device, boot: header.boot, priority: header.priority as u8, sequence: header.sequence }
    }
}

/// A line of the journal.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Entry {
    /// When, RFC 3339, UTC.
    pub at: String,
    /// Who: a name as it was given, `monitor`, or `store`.
    pub who: String,
    /// Alarm, acknowledgement, reset, shelving, out of service, baseline, settings, clock, retention, note.
    pub what: String,
    /// In words.
    pub text: String,
    /// Axis, from 0, if it is about one.
    pub axis: Option<u8>,
}

/// Notes what a monitor told; a frame makes one line at most, however often it comes, and if it was stored as nobody's
/// before it was handed over to its monitor.
pub(super) fn told(
    store: &Connection,
    key: Key,
    at: i64,
    (what, text): (&str, &str),
    axis: Option<u8>,
) -> rusqlite::Result<()> {
    let mut statement = store.prepare_cached(
        "INSERT OR IGNORE INTO journal (at_us, who, what, text, device, axis, boot, priority, sequence)
        SELECT ?1, 'monitor', ?2, ?3, ?4, ?5, ?6, ?7, ?8 WHERE NOT EXISTS (
            SELECT 1 FROM devices JOIN journal AS line ON line.device = devices.id
            WHERE number = zeroblob(12) AND line.boot = ?6 AND line.priority = ?7 AND line.sequence = ?8
                AND line.text = ?3 AND NOT EXISTS (SELECT 1 FROM frames WHERE frames.device = line.device
                    AND frames.boot = ?6 AND frames.priority = ?7 AND frames.sequence = ?8))",
    )?;
    statement.execute(params![at, what, text, key.device, axis, key.boot, key.priority, key.sequence])?;
    Ok(())
}

/// Notes what somebody said or the store did.
pub(super) fn said(store: &Connection, who: &str, what: &str, text: &str) -> rusqlite::Result<()> {
    let mut statement =
        store.prepare_cached("INSERT INTO journal (at_us, who, what, text) VALUES (?1, ?2, ?3, ?4)")?;
    statement.execute(params![time::now(), who, what, text])?;
    Ok(())
}

impl Store {
    /// Adds a line about what somebody had a monitor do: the monitor's own number, and the frame that answered.
    pub fn acted(
        &self,
        who: &str,
        (what, text): (&str, &str),
        (number, header): ([u8; 12], Header),
        axis: u8,
    ) -> Result<(), Error> {
        let write = || -> rusqlite::Result<usize> {
            let device = newest(&self.connection, &number)?;
            // No priority: what the frame itself says is the monitor's line.
            let mut statement = self.connection.prepare_cached(
                "INSERT INTO journal (at_us, who, what, text, device, axis, boot, sequence)
                VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            )?;
            statement.execute(params![
                time::now(),
                who,
                what,
                text,
                device,
                axis,
                header.boot,
                header.sequence
            ])
        };
        write().map(|_| ()).map_err(|error| self.fault(&error))
    }

    /// Adds a line of somebody's: an acknowledgement, a shelving, a baseline declared, a change of settings, a note.
    pub fn note(&self, who: &str, what: &str, text: &str) -> Result<(), Error> {
        said(&self.connection, who, what, text).map_err(|error| self.fault(&error))
    }

    /// The journal within a time, in the order it was written. Unit: µs since 1970, UTC
    pub fn journal(&self, since: i64, until: i64) -> Result<Vec<Entry>, Error> {
        let read = || -> rusqlite::Result<Vec<Entry>> {
            let mut statement = self.connection.prepare(
                "SELECT at_us, who, what, text, axis FROM journal WHERE at_us >= ?1 AND at_us < ?2 ORDER BY id",
            )?;
            let rows = statement.query_map([since, until], |row| {
                let at = time::text(row.get(0)?);
                Ok(Entry { at, who: row.get(1)?, what: row.get(2)?, text: row.get(3)?, axis: row.get(4)? })
            })?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Names an interval, such as a shift. Unit: µs since 1970, UTC
    pub fn name_shift(&self, name: &str, since: i64, until: i64) -> Result<(), Error> {
        let sql = "INSERT OR REPLACE INTO shifts VALUES (?1, ?2, ?3)";
        self.connection.execute(sql, params![name, since, until]).map_err(|error| self.fault(&error))?;
        Ok(())
    }

    /// The interval of a shift; an error lists the names there are. Unit: µs since 1970, UTC
    pub fn shift(&self, name: &str) -> Result<(i64, i64), Error> {
        let shifts = self.shifts()?;
        let found = shifts.iter().find(|shift| shift.0 == name);
        found.map(|shift| (shift.1, shift.2)).ok_or_else(|| {
            let names: Vec<&str> = shifts.iter().map(|shift| shift.0.as_str()).collect();
            Error::Option {
                option: "--shift".to_owned(),
                value: name.to_owned(),
                wrong: "no shift has this name".to_owned(),
                remedy: match names[..] {
                    [] => "name one with `stillpoint store shift NAME --since T --until T`".to_owned(),
                    _ => format!("one of: {}", names.join(", ")),
                },
            }
        })
    }

    /// All shifts: name, begin, end. Unit: µs since 1970, UTC
    pub fn shifts(&self) -> Result<Vec<(String, i64, i64)>, Error> {
        let read = || -> rusqlite::Result<Vec<(String, i64, i64)>> {
            let mut statement =
                self.connection.prepare("SELECT name, since_us, until_us FROM shifts ORDER BY since_us")?;
            let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }
}
