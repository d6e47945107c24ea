//! In: an axis of a monitor, now. Out: the settling times of its last hour and of the week before, like beside like.

use std::collections::BTreeMap;

use rusqlite::params;

use super::database::Store;
use super::{devices, kind};
use crate::error::Error;

/// Unit: µs
const HOUR: i64 = 3_600_000_000;
/// Unit: µs
const WEEK: i64 = 168 * HOUR;

/// Moves of one kind and one job. A settling time is none if the move did not settle; interrupted and untrusted moves are
/// left out. Unit: s
#[derive(Clone, Debug, PartialEq)]
pub struct RecentMoves {
    /// The kind in words.
    pub kind: String,
    /// Number of the kind in the newest start that has it.
    pub number: u32,
    /// Number of the product; 0: none.
    pub job: u32,
    /// Of the last hour.
    pub recent: Vec<Option<f64>>,
    /// Of the week before that.
    pub earlier: Vec<Option<f64>>,
}

impl Store {
    /// Whether there are moves, but none of the monitor with this number.
    pub fn is_of_others(&self, number: &[u8; 12]) -> Result<bool, Error> {
        let read = || -> rusqlite::Result<bool> {
            let device = devices::newest(&self.connection, number)?;
            self.connection.query_row(
                "SELECT EXISTS (SELECT 1 FROM moves) AND NOT EXISTS (SELECT 1 FROM moves WHERE device = ?1)",
                params![device],
                |row| row.get(0),
            )
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Moves of the last hour and the week before of an axis of the monitor with this number; empty if the store has
    /// none. `now` in µs since 1970, UTC.
    pub fn recent_moves(&self, number: &[u8; 12], axis: u8, now: i64) -> Result<Vec<RecentMoves>, Error> {
        let device = devices::newest(&self.connection, number).map_err(|error| self.fault(&error))?;
        let known =
            self.axes()?.into_iter().find(|known| Some(known.device) == device && known.axis.axis == axis);
        let Some(known) = known else { return Ok(Vec::new()) };
        let since = now.saturating_sub(HOUR + WEEK);
        let kinds = self.kinds(&known, HOUR / 1_000_000, (since - HOUR, now))?;
        let read = || -> rusqlite::Result<Vec<RecentMoves>> {
            let mut statement = self.connection.prepare_cached(
                "SELECT at_us, boot, kind, job, settling_ns FROM moves
                WHERE device = ?1 AND axis = ?2 AND at_us >= ?3 AND at_us <= ?4 AND outcome IN (0, 1) AND kind > 0",
            )?;
            let mut rows = statement.query(params![known.device, axis, since, now])?;
            let mut groups: BTreeMap<(usize, u32), [Vec<Option<f64>>; 2]> = BTreeMap::new();
            while let Some(row) = rows.next()? {
                let id = kind::id(row.get(1)?, row.get(2)?);
                let Some(place) = kinds.iter().position(|kind| kind.ids.contains(&id)) else { continue };
                let is_recent = row.get::<_, i64>(0)? > now - HOUR;
                let settling = row.get::<_, Option<i64>>(4)?.map(|ns| ns as f64 * 1e-9);
                let [recent, earlier] = groups.entry((place, row.get(3)?)).or_default();
                if is_recent { recent } else { earlier }.push(settling);
            }
            let group = |((place, job), [recent, earlier]): ((usize, u32), [Vec<Option<f64>>; 2])| {
                let kind = kinds.get(place)?;
                Some(RecentMoves { kind: kind.describe(), number: kind.number(), job, recent, earlier })
            };
            Ok(groups.into_iter().filter_map(group).collect())
        };
        read().map_err(|error| self.fault(&error))
    }
}
