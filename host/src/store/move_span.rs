//! In: axes and a time. Out: whether any of their moves lies in it, and from when to when the store has moves of them.

use rusqlite::params;

use super::axes::KnownAxis;
use super::database::Store;
use super::kind;
use crate::error::Error;

impl Store {
    /// Whether a move of these axes, or a summary where moves are past retention, lies within a time.
    /// Unit: µs since 1970, UTC
    pub fn has_moves(&self, axes: &[KnownAxis], (since, until): (i64, i64)) -> Result<bool, Error> {
        let sql = "SELECT EXISTS (SELECT 1 FROM moves
                WHERE device = ?1 AND axis = ?2 AND at_us >= ?3 AND at_us < ?4)
            OR EXISTS (SELECT 1 FROM summaries WHERE device = ?1 AND axis = ?2 AND span = 300 AND kind = ?5
                AND at_us >= ?3 AND at_us < ?4)";
        let has = |known: &KnownAxis| -> rusqlite::Result<bool> {
            let values = params![known.device, known.axis.axis, since, until, kind::ALL];
            self.connection.prepare_cached(sql)?.query_row(values, |row| row.get(0))
        };
        let found = axes.iter().map(has).collect::<rusqlite::Result<Vec<bool>>>();
        Ok(found.map_err(|error| self.fault(&error))?.contains(&true))
    }

    /// The first and the last command end of these axes; none without moves. Unit: µs since 1970, UTC
    pub fn move_span(&self, axes: &[KnownAxis]) -> Result<Option<(i64, i64)>, Error> {
        let end = |known: &KnownAxis, order: &str| -> rusqlite::Result<i64> {
            let sql = format!(
                "SELECT at_us FROM moves WHERE device = ?1 AND axis = ?2 ORDER BY at_us {order} LIMIT 1"
            );
            let values = params![known.device, known.axis.axis];
            self.connection.prepare_cached(&sql)?.query_row(values, |row| row.get(0))
        };
        // An axis is known by its moves.
        let ends = axes.iter().map(|known| Ok((end(known, "ASC")?, end(known, "DESC")?)));
        let ends: rusqlite::Result<Vec<(i64, i64)>> = ends.collect();
        let ends = ends.map_err(|error| self.fault(&error))?;
        Ok(ends.into_iter().reduce(|all, one| (all.0.min(one.0), all.1.max(one.1))))
    }
}
