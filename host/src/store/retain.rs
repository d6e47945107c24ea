//! In: how much to keep. Out: raw frames and moves of older days removed; summaries, alarms and journal stay.
//!
//! Cuts lie at midnight UTC, so that every summary is either complete and final or can be made again. Days are counted
//! back from the newest move if that is older than today: a wrong clock cannot delete recent data.

use rusqlite::{Connection, TransactionBehavior, params};
use stillpoint_core::wire::header::Priority;

use super::database::Store;
use super::marks::{self, HORIZON};
use super::{journal, seal, time};
use crate::error::Error;
use crate::report::number;

/// Unit: µs
const DAY: i64 = 86_400_000_000;

/// How much to keep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Retention {
    /// Whole days before the last one, which is today or the day of the newest move, whichever is earlier.
    Days(u32),
    /// As many whole days as fit, the last one in any case. Unit: bytes
    Bytes(u64),
}

/// What was removed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Removed {
    /// Raw frames.
    pub frames: usize,
    /// Moves; the summaries still count them.
    pub moves: usize,
    /// Everything before this is past retention, if anything ever was. Unit: µs since 1970, UTC
    pub before: Option<i64>,
    /// Size after it. Unit: bytes
    pub bytes: u64,
}

impl Store {
    /// Removes old days. `now` in µs since 1970, UTC.
    pub fn retain(&mut self, retention: Retention, now: i64) -> Result<Removed, Error> {
        self.remove_old_days(retention, now).map_err(|error| self.fault(&error))
    }

    fn remove_old_days(&mut self, retention: Retention, now: i64) -> rusqlite::Result<Removed> {
        self.correct_horizon(now)?;
        let mut removed = Removed::default();
        // Without moves there is nothing to count days from.
        if let Some(newest) = extreme(&self.connection, "max")? {
            let last = newest.min(now).div_euclid(DAY).saturating_mul(DAY);
            match retention {
                Retention::Days(days) => {
                    self.cut(last.saturating_sub(i64::from(days).saturating_mul(DAY)), &mut removed)?;
                }
                Retention::Bytes(bytes) => self.fit(bytes, last, &mut removed)?,
            }
        }
        if removed.frames > 0 {
            let text = format!(
                "{} and {} before {} let go",
                number::count(removed.frames, "raw frame"),
                number::count(removed.moves, "move"),
                time::text(removed.before.unwrap_or_default())
            );
            journal::write(&self.connection, "store", "retention", &text)?;
        }
        // The file shrinks, a page with each step; a concurrent reader only delays that.
        let mut vacuum = self.connection.prepare("PRAGMA incremental_vacuum")?;
        let mut pages = vacuum.query([])?;
        while pages.next()?.is_some() {}
        drop(pages);
        drop(vacuum);
        self.connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
        removed.bytes = used(&self.connection)?;
        Ok(removed)
    }

    /// Removes days, the oldest first, until the rest fits; none from `last` on.
    fn fit(&mut self, bytes: u64, last: i64, removed: &mut Removed) -> rusqlite::Result<()> {
        while used(&self.connection)? > bytes
            && let Some(oldest) = extreme(&self.connection, "min")?
            && oldest < last
        {
            self.cut(oldest.div_euclid(DAY).saturating_mul(DAY).saturating_add(DAY), removed)?;
        }
        Ok(())
    }

    /// A horizon in the future, which a wrong clock once set, would refuse every move that comes. It is set back to the
    /// oldest move in the store.
    fn correct_horizon(&mut self, now: i64) -> rusqlite::Result<()> {
        let store = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        if let Some(horizon) = marks::read(&store, HORIZON)?.filter(|horizon| *horizon > now) {
            let oldest = extreme(&store, "min")?.unwrap_or(now).min(now).div_euclid(DAY).saturating_mul(DAY);
            marks::write(&store, HORIZON, oldest)?;
            let (horizon, oldest) = (time::text(horizon), time::text(oldest));
            let text =
                format!("retention lay in the future, at {horizon}; moves from {oldest} on are kept again");
            journal::write(&store, "store", "retention", &text)?;
        }
        store.commit()
    }

    /// Removes all before a day boundary, in one transaction.
    fn cut(&mut self, horizon: i64, removed: &mut Removed) -> rusqlite::Result<()> {
        let store = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let before = marks::read(&store, HORIZON)?;
        // A horizon never goes back: removed moves are not stored again.
        let horizon = before.map_or(horizon, |before| before.max(horizon));
        let (frames, moves) = remove_before(&store, horizon)?;
        removed.frames += frames;
        removed.moves += moves;
        marks::write(&store, HORIZON, horizon)?;
        seal::summaries(&store, horizon)?;
        removed.before = Some(horizon);
        store.commit()
    }
}

/// Removes the frames and moves before a day boundary. Returns how many of each.
pub(super) fn remove_before(store: &Connection, horizon: i64) -> rusqlite::Result<(usize, usize)> {
    let (mut frames, mut moves) = (0, 0);
    let priority = Priority::Move as u8;
    for (device, axis) in axes(store)? {
        store.execute(
            "UPDATE boots SET whole_from = max(whole_from, coalesce((SELECT max(sequence) + 1 FROM moves
                WHERE device = ?1 AND axis = ?2 AND at_us < ?3 AND moves.boot = boots.boot), 0))
            WHERE device = ?1",
            params![device, axis, horizon],
        )?;
        frames += store.execute(
            "DELETE FROM frames WHERE (device, boot, priority, sequence) IN
                (SELECT device, boot, ?4, sequence FROM moves WHERE device = ?1 AND axis = ?2 AND at_us < ?3)",
            params![device, axis, horizon, priority],
        )?;
        moves += store.execute(
            "DELETE FROM moves WHERE device = ?1 AND axis = ?2 AND at_us < ?3",
            params![device, axis, horizon],
        )?;
    }
    // Settings, gaps, alarms and findings are few and stay.
    let sql = "DELETE FROM frames WHERE priority > ?1 AND arrived_us < ?2";
    Ok((frames + store.execute(sql, params![priority, horizon])?, moves))
}

fn axes(store: &Connection) -> rusqlite::Result<Vec<(i64, u8)>> {
    let mut statement = store.prepare("SELECT DISTINCT device, axis FROM summaries WHERE span = 86400")?;
    statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
}

/// Command end of the oldest or the newest move: `end` is `min` or `max`. Unit: µs since 1970, UTC
fn extreme(store: &Connection, end: &str) -> rusqlite::Result<Option<i64>> {
    let sql = format!("SELECT {end}(at_us) FROM moves WHERE device = ?1 AND axis = ?2");
    let mut found: Option<i64> = None;
    for (device, axis) in axes(store)? {
        let here: Option<i64> =
            store.prepare_cached(&sql)?.query_row(params![device, axis], |row| row.get(0))?;
        let both = found.into_iter().chain(here);
        found = if end == "min" { both.min() } else { both.max() };
    }
    Ok(found)
}

/// Size of the pages in use. Unit: bytes
fn used(store: &Connection) -> rusqlite::Result<u64> {
    let pragma = |name| store.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let pages = pragma("page_count")?.saturating_sub(pragma("freelist_count")?);
    Ok(u64::try_from(pages.saturating_mul(pragma("page_size")?)).unwrap_or(0))
}
