//! In: the frames of a monitor in the store. Out: from which one on the monitor should send its log again.

use rusqlite::{Connection, OptionalExtension, params};
use stillpoint_core::wire::command::DumpSince;
use stillpoint_core::wire::header::{Header, Priority};

use super::frame::DeviceNumber;
use super::{devices, journal};
use crate::report::number;

/// `boot` is the start in which the monitor is now; frames of later ones can't be its own. The answer is the last frame of a
/// move before the first hole in the newest start up to it, or the very last if there is no hole: the
/// monitor's log has it if it has anything after it, and to get it twice does no harm. None if the store has no move of
/// the monitor. Holes that the monitor could not fill, because its log was written over, are not requested again.
pub(super) fn resume_point(
    store: &Connection,
    number: &DeviceNumber,
    boot: u32,
) -> rusqlite::Result<Option<DumpSince>> {
    let Some(device) = devices::newest(store, number)? else { return Ok(None) };
    let priority = Priority::Move as u8;
    let mut statement = store.prepare_cached(
        "SELECT boot FROM frames WHERE device = ?1 AND priority = ?2 AND boot <= ?3 ORDER BY boot DESC LIMIT 1",
    )?;
    let newest = statement.query_row(params![device, priority, boot], |row| row.get::<_, u32>(0));
    let Some(boot) = newest.optional()? else {
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

/// A part of the log that a monitor was requested to send, and how far it came.
///
/// One frame with a wrong number, from a monitor or a line that is at fault, must not make all frames before it seem gone.
/// So frames are given up only if they are missing from two answers, and only as far as both came.
#[derive(Clone, Copy, Debug)]
pub(super) struct ReplayRequest {
    boot: u32,
    /// Highest number that came out of the log since.
    highest: Option<u32>,
    is_done: bool,
    /// Highest number of the answer before this one.
    before: Option<u32>,
}

impl ReplayRequest {
    pub(super) fn new(since: &DumpSince) -> ReplayRequest {
        ReplayRequest { boot: since.boot, highest: None, is_done: false, before: None }
    }

    /// The same part is requested again, after it was sent.
    pub(super) fn again(self) -> ReplayRequest {
        ReplayRequest { highest: None, is_done: false, before: self.highest, ..self }
    }

    /// The start that the part is of.
    pub(super) fn boot(&self) -> u32 {
        self.boot
    }

    /// Notes a frame that came.
    pub(super) fn note(&mut self, header: &Header) {
        if header.replay && header.priority == Priority::Move && header.boot == self.boot {
            self.highest = self.highest.max(Some(header.sequence));
        }
    }

    /// The monitor has sent its log to the end.
    pub(super) fn end(&mut self) {
        self.is_done = self.highest.is_some();
    }

    /// Whether all came that the monitor's log has of the requested part.
    pub(super) fn is_done(&self) -> bool {
        self.is_done
    }

    /// Whether this was the second answer.
    pub(super) fn is_confirmed(&self) -> bool {
        self.before.is_some()
    }

    /// How far all answers came.
    fn end_of_all(&self) -> Option<u32> {
        self.before.map_or(self.highest, |before| self.highest.map(|highest| highest.min(before)))
    }

    /// Number of frames that are missing before the end of all answers.
    pub(super) fn missing(&self, store: &Connection, number: &DeviceNumber) -> rusqlite::Result<u32> {
        let (Some(end), Some(device)) = (self.end_of_all(), devices::newest(store, number)?) else {
            return Ok(0);
        };
        store
            .prepare_cached(
                "SELECT coalesce(max(sequence) - min(sequence) + 1 - count(*), 0) FROM frames
                WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence <= ?4 AND sequence >= (
                    SELECT max(whole_from, gone_before) FROM boots WHERE device = ?1 AND boot = ?2)",
            )?
            .query_row(params![device, self.boot, Priority::Move as u8, end], |row| row.get(0))
    }

    /// Gives these missing frames up.
    pub(super) fn give_up(
        &self,
        store: &Connection,
        number: &DeviceNumber,
        missing: u32,
    ) -> rusqlite::Result<()> {
        let (Some(end), Some(device)) = (self.end_of_all(), devices::newest(store, number)?) else {
            return Ok(());
        };
        let boot = self.boot;
        store
            .prepare_cached("UPDATE boots SET gone_before = ?3 WHERE device = ?1 AND boot = ?2")?
            .execute(params![device, boot, end])?;
        let text = format!(
            "{} no longer in the monitor's log and not requested again, of start {boot} before number {end}",
            number::count_are(missing, "frame")
        );
        journal::write(store, "store", "gone", &text)
    }
}
