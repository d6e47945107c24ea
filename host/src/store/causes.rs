//! In: an axis and a time. Out: the known causes that moved its settling time then, and by how much.

use rusqlite::params;
use stillpoint_core::wire::drift::{Cause, Explained};

use super::axes::KnownAxis;
use super::database::Store;
use crate::error::Error;
use crate::report::explained;
use crate::report::printable::printable;

impl Store {
    /// The last report of each cause of an axis before `until`, by the newest start of its monitor then; other settings
    /// discard all before them. `report::explained` words a report. Unit: µs since 1970, UTC
    pub fn explained(&self, known: &KnownAxis, until: i64) -> Result<Vec<Explained>, Error> {
        let sql = "SELECT cause, key, permille, max(sequence) FROM explained
            WHERE device = ?1 AND axis = ?2 AND at_us < ?3 AND boot = (SELECT max(boot) FROM boots
                WHERE device = ?1 AND epoch_us < ?3)
            AND sequence > coalesce((SELECT max(sequence) FROM restarts WHERE device = ?1 AND axis = ?2
                AND boot = explained.boot AND kind = 0 AND why = 'settings' AND at_us < ?3), -1)
            GROUP BY cause, key ORDER BY cause, key";
        let read = || -> rusqlite::Result<Vec<Explained>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let rows = statement.query_map(params![known.device, known.axis.axis, until], |row| {
                let nodes: Vec<i16> = serde_json::from_str(&row.get::<_, String>(2)?).unwrap_or_default();
                let mut explained = Explained {
                    axis: known.axis.axis,
                    cause: cause(&row.get::<_, String>(0)?),
                    key: row.get(1)?,
                    ..Explained::default()
                };
                explained.permille.iter_mut().zip(nodes).for_each(|(node, stored)| *node = stored);
                Ok(explained)
            })?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }
}

impl Store {
    /// The same in words, a sentence for each cause, behind the name of its axis; `axis` is a name or a number.
    pub fn explained_words(&self, axis: Option<&str>, until: i64) -> Result<String, Error> {
        let mut words = String::new();
        for known in self.find_axes(axis)? {
            let name = printable(&known.axis.name);
            for cause in self.explained(&known, until)? {
                words.push_str(&format!("{name}, {}\n", explained::text(&cause)));
            }
        }
        Ok(words)
    }
}

/// The cause with these words in the table.
fn cause(words: &str) -> Cause {
    match words {
        "short pause" => Cause::ShortPause,
        "long pause" => Cause::LongPause,
        "job" => Cause::Job,
        _ => Cause::HourOfDay,
    }
}
