//! In: the pages of a damaged store. Out: their frames and the rows that can't be made again, in a new store; and what
//! was met on the way.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::types::Value;
use rusqlite::{Connection, params, params_from_iter};
use stillpoint_core::wire::message::Message;

use super::cells::{Cell, PageKind, cells};
use super::frame::{FrameKey, StoredFrame};
use super::pages::Pages;
use super::salvage::{Found, FoundFrame, FoundRow, FrameSource, recognise};

/// What was met on the pages.
#[derive(Debug, Default)]
pub(super) struct Scan {
    /// Rows by table; of frames those with a row of their own.
    pub(super) rows: BTreeMap<&'static str, u64>,
    /// Rows by table that are not what was written.
    pub(super) damaged: BTreeMap<&'static str, u64>,
    /// Pages that can't be read, or not wholly.
    pub(super) unread: u64,
    /// Lines by their numbers.
    pub(super) journal: BTreeMap<i64, FoundRow>,
    /// What the rows of moves say of each start: ticks and wall time of the first and the last command end.
    pub(super) starts: BTreeMap<(i64, u32), [(u64, i64); 2]>,
    /// Frames out of rows of moves and settings whose own row was not found.
    pub(super) remade: u64,
    /// The end of the last summary with a digest: its frames are past retention. Unit: µs since 1970, UTC
    pub(super) let_go_until: Option<i64>,
}

impl Scan {
    /// Copies what is on the pages into a new store.
    pub(super) fn copy(store: &Connection, pages: &mut Pages) -> rusqlite::Result<Scan> {
        let mut scan = Scan::default();
        // A frame's own row says when it came; so it goes before the row that follows from it.
        scan.unread = each_row(pages, &mut |found| scan.copy_truth(store, found))?;
        each_row(pages, &mut |found| scan.copy_derived(store, found))?;
        // Each line is chained to the one before it.
        for line in scan.journal.values() {
            insert(store, line)?;
        }
        Ok(scan)
    }

    /// No row of a store was found.
    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty() && self.remade == 0
    }

    /// Copies a row that can't be made again.
    fn copy_truth(&mut self, store: &Connection, found: Found) -> rusqlite::Result<()> {
        let (table, copied) = match found {
            Found::Damaged(table) => {
                *self.damaged.entry(table).or_default() += 1;
                return Ok(());
            }
            Found::Frame(FoundFrame { device, body, from: FrameSource::Frame(arrived) }) => {
                ("frames", insert_frame(store, device, arrived, &body)?)
            }
            Found::Frame(_) => return Ok(()),
            Found::Row(row) if row.shape.table == "journal" => {
                let id = row.whole(0).unwrap_or_default();
                ("journal", u64::from(self.journal.insert(id, row).is_none()))
            }
            Found::Row(row) => {
                if row.shape.table == "summaries" && row.digest.is_some() {
                    let until = row
                        .whole(4)
                        .zip(row.whole(2))
                        .map(|(at, span)| at.saturating_add(span.saturating_mul(1_000_000)));
                    self.let_go_until = self.let_go_until.max(until);
                }
                (row.shape.table, insert(store, &row)?)
            }
        };
        *self.rows.entry(table).or_default() += copied;
        Ok(())
    }

    /// Copies a frame out of a row that follows from it.
    fn copy_derived(&mut self, store: &Connection, found: Found) -> rusqlite::Result<()> {
        let Found::Frame(FoundFrame { device, body, from }) = found else { return Ok(()) };
        let Some(frame) = StoredFrame::new(device, 0, &body) else { return Ok(()) };
        let arrived = match from {
            FrameSource::Frame(_) => return Ok(()),
            // No frame comes before its move has ended.
            FrameSource::Move(at) => {
                self.note_start(&frame, at);
                at
            }
            FrameSource::Settings => store
                .prepare_cached(
                    "SELECT coalesce(max(epoch_us), 0) FROM boots WHERE device = ?1 AND boot = ?2",
                )?
                .query_row(params![device, frame.frame.header.boot], |row| row.get(0))?,
        };
        self.remade += insert_frame(store, device, arrived, &body)?;
        Ok(())
    }

    fn note_start(&mut self, frame: &StoredFrame, at: i64) {
        let Some(Message::Move(wire)) = frame.message() else { return };
        let end = (wire.start.wrapping_add(wire.duration), at);
        let ends = self.starts.entry((frame.device, frame.frame.header.boot)).or_insert([end; 2]);
        *ends = [ends[0].min(end), ends[1].max(end)];
    }
}

/// Passes every row of a store on the pages to `out`. Returns how many pages can't be read, or not wholly.
fn each_row(pages: &mut Pages, out: &mut dyn FnMut(Found) -> rusqlite::Result<()>) -> rusqlite::Result<u64> {
    let (mut others, mut rests, mut damaged) = (BTreeSet::new(), vec![], 0);
    for page in 1..=pages.count {
        if !pages.may_hold_rows(page) {
            continue;
        }
        let mut here = vec![];
        let kind = cells(pages, page, &mut rests, &mut |cell| here.push(cell));
        let misplaced: Vec<bool> = (0..here.len()).map(|place| is_misplaced(&here, place)).collect();
        for (cell, is_misplaced) in here.into_iter().zip(misplaced) {
            match recognise(cell) {
                Some(Found::Frame(_)) if is_misplaced => out(Found::Damaged("frames"))?,
                Some(found) => out(found)?,
                None => (),
            }
        }
        match kind {
            PageKind::Other if !Pages::is_map(page) => {
                others.insert(page);
            }
            PageKind::Damaged => damaged += 1,
            PageKind::Other | PageKind::Whole => (),
        }
    }
    for rest in rests {
        others.remove(&rest);
    }
    Ok(damaged + others.len() as u64)
}

/// Whether a row stands between two that are in order, and is not: the numbers in it are damaged, which the checksum of
/// a frame does not cover.
fn is_misplaced(cells: &[Cell], place: usize) -> bool {
    let key = |place: usize| {
        let numbers = cells.get(place)?.values.iter().map_while(|value| match value {
            Value::Integer(number) => Some(*number),
            _ => None,
        });
        Some(numbers.collect::<Vec<i64>>()).filter(|key| !key.is_empty())
    };
    let Some(own) = key(place) else { return false };
    let before = |distance| place.checked_sub(distance).and_then(key);
    let after = |distance| key(place + distance);
    match (before(1), after(1)) {
        (Some(before), Some(after)) => before < after && !(before < own && own < after),
        // At an end the two next to it show which of them is out of order.
        (None, Some(after1)) => after1 < own && after(2).is_none_or(|after2| after1 < after2),
        (Some(before1), None) => own < before1 && before(2).is_none_or(|before2| before2 < before1),
        (None, None) => false,
    }
}

/// Returns 0 if it is there.
fn insert_frame(store: &Connection, device: i64, arrived: i64, body: &[u8]) -> rusqlite::Result<u64> {
    let Some(frame) = StoredFrame::new(device, arrived, body) else { return Ok(0) };
    let FrameKey { device, boot, priority, sequence } = frame.key();
    store
        .prepare_cached("INSERT OR IGNORE INTO frames VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?
        .execute(params![device, boot, priority, sequence, arrived, body])
        .map(|rows| rows as u64)
}

/// Inserts a row by the names of its columns, of which an older version may have fewer. Returns 0 if it is there.
fn insert(store: &Connection, row: &FoundRow) -> rusqlite::Result<u64> {
    let names: Vec<&str> = row.shape.columns.iter().take(row.values.len()).copied().collect();
    let places = vec!["?"; names.len()].join(", ");
    let (table, names) = (row.shape.table, names.join(", "));
    let sql = format!("INSERT OR IGNORE INTO {table} ({names}) VALUES ({places})");
    store.prepare_cached(&sql)?.execute(params_from_iter(&row.values)).map(|rows| rows as u64)
}
