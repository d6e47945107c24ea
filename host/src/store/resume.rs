//! In: the frames there are. Out: from which one on the monitor should send its log again.

use rusqlite::{Connection, OptionalExtension, params};
use stillpoint_core::wire::command::DumpSince;
use stillpoint_core::wire::header::{Header, Priority};

use super::frames::Number;
use super::group::newest;
use super::{Store, journal};
use crate::error::Error;

/// The last frame of a move before the first hole in the newest start, or simply the last: it is in the monitor's
/// log if anything after it is, and knowing it twice does no harm. None if nothing was heard of the monitor.
/// Holes that the monitor could not fill, its log having been written over, are not asked for again.
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
        .prepare_cached("SELECT max(whole_from, gone_before) FROM boots WHERE device = ?1 AND boot = ?2")?
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

/// What a monitor was asked for, and what came of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked {
    boot: u32,
    /// Highest number that came out of the log since.
    top: Option<u32>,
    done: bool,
}

impl Asked {
    pub(super) fn new(ask: &DumpSince) -> Asked {
        Asked { boot: ask.boot, top: None, done: false }
    }

    pub(super) fn hear(&mut self, header: &Header) {
        if header.replay && header.priority == Priority::Move && header.boot == self.boot {
            self.top = self.top.max(Some(header.sequence));
        }
    }

    /// The monitor has sent its log to the end.
    pub(super) fn end(&mut self) {
        self.done = self.top.is_some();
    }

    /// Whether all that was asked for has come, as far as it was there.
    pub(super) fn is_done(&self) -> bool {
        self.done
    }

    /// Gives up what is still missing before the last frame out of the log. Returns how many frames.
    pub(super) fn give_up(&self, store: &Connection, number: &Number) -> rusqlite::Result<u32> {
        let (Some(top), Some(device)) = (self.top, newest(store, number)?) else {
            return Ok(0);
        };
        let Asked { boot, .. } = *self;
        let missing: u32 = store
            .prepare_cached(
                "SELECT coalesce(max(sequence) - min(sequence) + 1 - count(*), 0) FROM frames
                WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence <= ?4 AND sequence >= (
                    SELECT max(whole_from, gone_before) FROM boots WHERE device = ?1 AND boot = ?2)",
            )?
            .query_row(params![device, boot, Priority::Move as u8, top], |row| row.get(0))?;
        if missing > 0 {
            store
                .prepare_cached("UPDATE boots SET gone_before = ?3 WHERE device = ?1 AND boot = ?2")?
                .execute(params![device, boot, top])?;
            let text = format!(
                "{missing} frames of start {boot} before number {top} are no longer in the monitor's log; they are not asked for again"
            );
            journal::said(store, "store", "gone", &text)?;
        }
        Ok(missing)
    }
}

impl Store {
    /// What to ask this monitor for, so that the store has all that its log has.
    pub fn resume(&self, number: &[u8; 12]) -> Result<Option<DumpSince>, Error> {
        point(&self.connection, number).map_err(|error| self.fault(&error))
    }
}
