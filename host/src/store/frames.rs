//! In: frames, as they came. Out: the same in their table, once each; and whether one was there before.
//!
//! A frame whose number lies beyond all of its series is new without looking. Such frames are collected and written
//! many at once; the others are tried one by one.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use rusqlite::{CachedStatement, Connection, params};
use stillpoint_core::wire::header::Header;

use super::batch;
use super::journal::Key;

/// A monitor's own number.
pub(super) type Number = [u8; 12];

/// A frame that waits to be stored.
#[derive(Debug)]
pub(super) struct Held {
    /// Whose it is; not known before the first hello on the line.
    pub(super) number: Option<Number>,
    pub(super) header: Header,
    /// Nothing follows from it, so that it needn't be read.
    pub(super) silent: bool,
    /// Unit: µs since 1970, UTC
    pub(super) arrived: i64,
    pub(super) body: Box<[u8]>,
}

/// Device, start and priority: frames that are numbered together.
type Series = (i64, u32, u8);

/// The last number of each series in the file; none if there is no frame of it.
#[derive(Debug, Default)]
pub(super) struct Last(BTreeMap<Series, Option<u32>>);

impl Last {
    fn of(&mut self, store: &Connection, key: &Key) -> rusqlite::Result<&mut Option<u32>> {
        let series = (key.device, key.boot, key.priority);
        match self.0.entry(series) {
            Entry::Occupied(known) => Ok(known.into_mut()),
            Entry::Vacant(free) => {
                let sql =
                    "SELECT max(sequence) FROM frames WHERE device = ?1 AND boot = ?2 AND priority = ?3";
                Ok(free.insert(store.prepare_cached(sql)?.query_row(series, |row| row.get(0))?))
            }
        }
    }

    /// What is in memory no longer holds.
    pub(super) fn forget(&mut self) {
        self.0.clear();
    }
}

/// A row of the table.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row<'h> {
    pub(super) key: Key,
    /// Unit: µs since 1970, UTC
    arrived: i64,
    body: &'h [u8],
}

impl<'h> Row<'h> {
    pub(super) fn new(device: i64, held: &'h Held) -> Row<'h> {
        Row { key: Key::new(device, &held.header), arrived: held.arrived, body: &held.body }
    }

    /// Whether the frame that is there says something else; marks of a replay and so the CRC may differ.
    pub(super) fn differs(&self, store: &Connection) -> rusqlite::Result<bool> {
        let Key { device, boot, priority, sequence } = self.key;
        let there: Vec<u8> = store
            .prepare_cached(
                "SELECT body FROM frames WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence = ?4",
            )?
            .query_row(params![device, boot, priority, sequence], |row| row.get(0))?;
        Ok(said(&there) != said(self.body))
    }
}

/// A body without its first byte, which has the mark of a replay, and without its CRC.
pub(super) fn said(body: &[u8]) -> Option<&[u8]> {
    body.get(1..body.len().checked_sub(4)?)
}

/// Inserts the frames of one transaction.
pub(super) struct Frames<'c, 'h> {
    store: &'c Connection,
    one: CachedStatement<'c>,
    fresh: Vec<Row<'h>>,
}

const ONE: &str = "INSERT INTO frames VALUES (?1, ?2, ?3, ?4, ?5, ?6) ON CONFLICT DO NOTHING";

impl<'c, 'h> Frames<'c, 'h> {
    pub(super) fn new(store: &'c Connection) -> rusqlite::Result<Frames<'c, 'h>> {
        Ok(Frames { store, one: store.prepare_cached(ONE)?, fresh: Vec::new() })
    }

    /// False if a frame of this number is there.
    pub(super) fn insert(&mut self, last: &mut Last, row: &Row<'h>) -> rusqlite::Result<bool> {
        let Key { device, boot, priority, sequence } = row.key;
        let last = last.of(self.store, &row.key)?;
        if last.is_none_or(|last| last < sequence) {
            *last = Some(sequence);
            self.fresh.push(*row);
            return Ok(true);
        }
        // It may be among those that wait.
        self.write()?;
        Ok(self.one.execute(params![device, boot, priority, sequence, row.arrived, row.body])? > 0)
    }

    /// Writes what waits; before the table is read and at the end.
    pub(super) fn write(&mut self) -> rusqlite::Result<()> {
        self.fresh.sort_unstable_by_key(|row| row.key);
        // A failure undoes the whole transaction, so that SQLite needn't be able to undo this statement alone.
        batch::insert(self.store, ("INSERT OR FAIL INTO frames", 6), &self.fresh, |row, values| {
            values.push(row.key.device)?;
            values.push(row.key.boot)?;
            values.push(row.key.priority)?;
            values.push(row.key.sequence)?;
            values.push(row.arrived)?;
            values.push(row.body)
        })?;
        self.fresh.clear();
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn whatever_the_order_each_is_stored_once() {
        let mut store = Connection::open_in_memory().expect("memory");
        let table = "CREATE TABLE frames (device, boot, priority, sequence, arrived_us, body,
            PRIMARY KEY (device, boot, priority, sequence)) WITHOUT ROWID";
        store.execute_batch(table).expect("SQL");
        let (mut known, mut last, mut chance) = (BTreeSet::new(), Last::default(), 1_u32);
        for _ in 0..20 {
            let transaction = store.transaction().expect("a transaction");
            let mut frames = Frames::new(&transaction).expect("a statement");
            for _ in 0..100 {
                chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let (boot, sequence) = (chance >> 30, (chance >> 16) % 500 + chance % 2 * known.len() as u32);
                let key = Key { device: 1, boot, priority: 0, sequence };
                let new = frames.insert(&mut last, &Row { key, arrived: 0, body: &[1, 2] }).expect("room");
                assert_eq!(new, known.insert(key), "{key:?}");
            }
            frames.write().expect("room");
            drop(frames);
            transaction.commit().expect("room");
        }
        let count = |sql| store.query_row(sql, [], |row| row.get::<_, i64>(0)).expect("a row") as usize;
        assert_eq!(count("SELECT count(*) FROM frames"), known.len());
        assert!(known.len() > 500 && known.len() < 1900, "both ways were gone: {}", known.len());
    }
}
