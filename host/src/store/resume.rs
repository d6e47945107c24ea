//! In: the frames there are. Out: from which one on the monitor should send its log again.

use rusqlite::{Connection, OptionalExtension, params};
use stillpoint_core::wire::command::DumpSince;
use stillpoint_core::wire::header::Priority;

use super::Store;
use super::frames::Number;
use super::group::newest;
use crate::error::Error;

/// The last frame of a move before the first hole in the newest start, or simply the last: it is in the monitor's
/// log if anything after it is, and knowing it twice does no harm. None if nothing was heard of the monitor.
///
/// A hole that the monitor can't fill any more, its log having been written over, is asked for at every opening.
pub(super) fn point(store: &Connection, number: &Number) -> rusqlite::Result<Option<DumpSince>> {
    let Some(device) = newest(store, number)? else { return Ok(None) };
    let priority = Priority::Move as u8;
    let mut statement = store.prepare_cached(
        "SELECT boot FROM frames WHERE device = ?1 AND priority = ?2 ORDER BY boot DESC LIMIT 1",
    )?;
    let Some(boot) = statement.query_row(params![device, priority], |row| row.get::<_, u32>(0)).optional()?
    else {
        return Ok(None);
    };
    let from: Option<u32> = store
        .prepare_cached("SELECT whole_from FROM boots WHERE device = ?1 AND boot = ?2")?
        .query_row(params![device, boot], |row| row.get(0))
        .optional()?;
    let key = params![device, boot, priority, from.unwrap_or(0)];
    let (first, last, count): (Option<u32>, Option<u32>, u32) = store
        .prepare_cached(
            "SELECT min(sequence), max(sequence), count(*) FROM frames
            WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence >= ?4",
        )?
        .query_row(key, |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
    let (Some(first), Some(last)) = (first, last) else { return Ok(None) };
    let sequence = if last - first + 1 == count { last } else { before_hole(store, device, boot, first)? };
    Ok(Some(DumpSince { boot, priority, sequence }))
}

fn before_hole(store: &Connection, device: i64, boot: u32, first: u32) -> rusqlite::Result<u32> {
    store
        .prepare_cached(
            "SELECT sequence FROM frames AS here WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence >= ?4
            AND NOT EXISTS (SELECT 1 FROM frames WHERE device = ?1 AND boot = ?2 AND priority = ?3
                AND sequence = here.sequence + 1)
            ORDER BY sequence LIMIT 1",
        )?
        .query_row(params![device, boot, Priority::Move as u8, first], |row| row.get(0))
}

impl Store {
    /// What to ask this monitor for, so that the store has all that its log has.
    pub fn resume(&self, number: &[u8; 12]) -> Result<Option<DumpSince>, Error> {
        point(&self.connection, number).map_err(|error| self.fault(&error))
    }
}
