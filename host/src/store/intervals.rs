//! In: an axis, a length of intervals and a time. Out: the summaries of its moves.

use rusqlite::params;

use super::axes::KnownAxis;
use super::database::Store;
use super::kind::ALL;
use super::summary::Summary;
use crate::error::Error;

/// One point of a picture over time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Interval {
    /// Its beginning, UTC. Unit: µs since 1970
    pub at: i64,
    /// Moves in it, settled or not.
    pub moves: i64,
    /// Median and 95 % quantile of the settling times, if any settled. Unit: ns
    pub quantiles: Option<(i64, i64)>,
}

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

    /// The intervals of all kinds together, for a picture: with quantiles as they were calculated when the moves were
    /// stored, which is faster than to read the sketches.
    pub fn intervals(
        &self,
        known: &KnownAxis,
        span: i64,
        (since, until): (i64, i64),
    ) -> Result<Vec<Interval>, Error> {
        let read = || -> rusqlite::Result<Vec<Interval>> {
            let mut statement = self.connection.prepare_cached(
                "SELECT at_us, settled + unsettled + interrupted + untrusted, p50_ns, p95_ns FROM summaries
                WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us >= ?5 AND at_us < ?6",
            )?;
            let values = params![known.device, known.axis.axis, span, ALL, since, until];
            let rows = statement.query_map(values, |row| {
                let quantiles: (Option<i64>, Option<i64>) = (row.get(2)?, row.get(3)?);
                Ok(Interval { at: row.get(0)?, moves: row.get(1)?, quantiles: quantiles.0.zip(quantiles.1) })
            })?;
            rows.collect()
        };
        read().map_err(|error| self.fault(&error))
    }
}
