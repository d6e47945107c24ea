//! In: what people do and want to know. Out: lines of the journal, written and read.

use stillpoint_core::wire::header::Header;

use super::database::Store;
use super::{devices, journal, seal, time};
use crate::error::Error;

/// A line of the journal.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Entry {
    /// When, RFC 3339, UTC.
    pub at: String,
    /// Who: the name of a person, `monitor`, or `store`.
    pub who: String,
    /// Alarm, acknowledgement, reset, shelving, out of service, baseline, settings, job, clock, firmware, retention,
    /// rebuild, rescue, shift, change, note.
    pub what: String,
    /// In words.
    pub text: String,
    /// Axis, from 0, if it is about one.
    pub axis: Option<u8>,
}

impl Store {
    /// Adds a line about what a person had a monitor do. `answer` is the monitor's own number, and the header of the
    /// frame with which it answered.
    pub fn add_action(
        &self,
        who: &str,
        what: (&str, &str),
        (number, answer): ([u8; 12], Header),
        axis: Option<u8>,
    ) -> Result<(), Error> {
        let write = || {
            let device = devices::newest(&self.connection, &number)?;
            journal::write_of_action(&self.connection, who, what, (device, &answer), axis)
        };
        write().map_err(|error| self.fault(&error))
    }

    /// Adds a line of a person: an acknowledgement, a shelving, a baseline declared, a change of settings, a note.
    pub fn add_note(&self, who: &str, what: &str, text: &str) -> Result<(), Error> {
        journal::write(&self.connection, who, what, text).map_err(|error| self.fault(&error))
    }

    /// Number and digest of the newest line: noted elsewhere, they prove later that no line up to it was changed.
    pub fn newest_line(&self) -> Result<Option<(i64, String)>, Error> {
        seal::newest_line(&self.connection).map_err(|error| self.fault(&error))
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
}
