//! In: an axis and a time. Out: its moves, each with when it began and when its command ended.

use rusqlite::params;

use super::axes::KnownAxis;
use super::database::Store;
use super::moves::Reports;
use crate::error::Error;
use crate::report::rungs::DatedMove;

impl Store {
    /// The moves of an axis whose command ended within a time, in their order; with their details if `details`.
    /// Unit: µs since 1970, UTC
    pub fn dated_moves(
        &self,
        known: &KnownAxis,
        within: (i64, i64),
        details: bool,
    ) -> Result<Vec<DatedMove>, Error> {
        let reports = Reports::new(self, known)?;
        let mut moves = Vec::new();
        self.stored_moves(known, within, details, &mut |stored, found| {
            moves.extend(reports.of(stored, found).map(|report| {
                let length = (1e6 * (report.command_end_s - report.start_s)).round() as i64;
                DatedMove { start: stored.at.saturating_sub(length), end: stored.at, report }
            }));
            Ok(())
        })?;
        Ok(moves)
    }

    /// The coarsest encoder step that the settings of an axis name. Unit: counts
    pub fn encoder_step(&self, known: &KnownAxis) -> Result<u32, Error> {
        let settings = self.settings(known).map_err(|error| self.fault(&error))?;
        Ok(settings.iter().map(|one| one.settings.encoder_step).max().unwrap_or(1))
    }

    /// Number of moves of an axis whose command ended within a time. Unit: µs since 1970, UTC
    pub fn count_moves(&self, known: &KnownAxis, (since, until): (i64, i64)) -> Result<u64, Error> {
        let sql = "SELECT count(*) FROM moves WHERE device = ?1 AND axis = ?2 AND at_us >= ?3 AND at_us < ?4";
        let count = || -> rusqlite::Result<i64> {
            let mut statement = self.connection.prepare_cached(sql)?;
            statement.query_row(params![known.device, known.axis.axis, since, until], |row| row.get(0))
        };
        count().map(|count| count as u64).map_err(|error| self.fault(&error))
    }
}
