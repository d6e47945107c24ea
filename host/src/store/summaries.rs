//! In: an axis, a length of intervals and a time. Out: the summaries of its moves.

use rusqlite::params;

use super::axes::KnownAxis;
use super::database::Store;
use super::kind::ALL;
use super::summary::Summary;
use crate::error::Error;

impl Store {
    /// Summaries of an axis over intervals of `span` seconds, one of [`super::summary::SPANS`], that begin within a
    /// time; of one kind or of [`ALL`]. Unit: µs since 1970, UTC
    pub fn summaries(
        &self,
        known: &KnownAxis,
        (span, kind): (i64, i64),
        (since, until): (i64, i64),
    ) -> Result<Vec<Summary>, Error> {
        let read = || -> rusqlite::Result<Vec<Summary>> {
            let mut statement = self.connection.prepare_cached(&format!(
                "SELECT {}, at_us FROM summaries
                WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us >= ?5 AND at_us < ?6",
                Summary::COLUMNS
            ))?;
            let values = params![known.device, known.axis.axis, span, kind, since, until];
            let rows = statement.query_map(values, |row| Summary::of_row(row, row.get("at_us")?))?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Kinds of an axis that have intervals within a time.
    pub(super) fn kinds_within(
        &self,
        known: &KnownAxis,
        span: i64,
        (since, until): (i64, i64),
    ) -> rusqlite::Result<Vec<i64>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT DISTINCT kind FROM summaries
            WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind <> ?4 AND at_us >= ?5 AND at_us < ?6 ORDER BY kind",
        )?;
        let values = params![known.device, known.axis.axis, span, ALL, since, until];
        statement.query_map(values, |row| row.get(0))?.collect()
    }
}
