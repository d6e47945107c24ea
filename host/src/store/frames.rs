//! In: frames, as they came. Out: rows of their table, each frame once; and whether a frame was there before.
//!
//! A frame whose number lies beyond all of its series is new without a look into the table. Such frames are collected
//! and written many at once; the others are tried one by one.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use rusqlite::{Connection, named_params, params};

use super::frame::{FrameKey, PendingFrame, content};
use super::insert::{self, Push};

/// Device, start and priority: frames that are numbered together.
type Series = (i64, u32, u8);

/// The last number of each series in the file; none if there is no frame of it.
#[derive(Debug, Default)]
pub(super) struct LastNumbers(BTreeMap<Series, Option<u32>>);

impl LastNumbers {
    fn of(&mut self, store: &Connection, key: &FrameKey) -> rusqlite::Result<&mut Option<u32>> {
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

    /// Number of series in memory.
    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    /// Drops what is in memory, because the file has changed or it is too much.
    pub(super) fn clear(&mut self) {
        self.0.clear();
    }
}

/// A row of the table.
#[derive(Clone, Copy, Debug)]
pub(super) struct FrameRow<'p> {
    pub(super) key: FrameKey,
    /// Unit: µs since 1970, UTC
    arrived: i64,
    body: &'p [u8],
}

impl<'p> FrameRow<'p> {
    pub(super) fn new(device: i64, frame: &'p PendingFrame) -> FrameRow<'p> {
        FrameRow { key: FrameKey::new(device, &frame.header), arrived: frame.arrived, body: &frame.body }
    }

    fn push(&self, push: &mut Push) -> rusqlite::Result<()> {
        push(named_params! {
            "device": self.key.device,
            "boot": self.key.boot,
            "priority": self.key.priority,
            "sequence": self.key.sequence,
            "arrived_us": self.arrived,
            "body": self.body,
        })
    }

    /// Whether the frame of this number in the table has another content.
    pub(super) fn differs(&self, store: &Connection) -> rusqlite::Result<bool> {
        let FrameKey { device, boot, priority, sequence } = self.key;
        let there: Vec<u8> = store
            .prepare_cached(
                "SELECT body FROM frames WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence = ?4",
            )?
            .query_row(params![device, boot, priority, sequence], |row| row.get(0))?;
        Ok(content(&there) != content(self.body))
    }
}

/// Inserts the frames of one transaction.
pub(super) struct FrameWriter<'c, 'p> {
    store: &'c Connection,
    fresh: Vec<FrameRow<'p>>,
}

impl<'c, 'p> FrameWriter<'c, 'p> {
    pub(super) fn new(store: &'c Connection) -> FrameWriter<'c, 'p> {
        FrameWriter { store, fresh: Vec::new() }
    }

    /// False if a frame of this number is there.
    pub(super) fn insert(&mut self, last: &mut LastNumbers, row: &FrameRow<'p>) -> rusqlite::Result<bool> {
        let last = last.of(self.store, &row.key)?;
        if last.is_none_or(|last| last < row.key.sequence) {
            *last = Some(row.key.sequence);
            self.fresh.push(*row);
            return Ok(true);
        }
        // It may be among those that wait.
        self.write()?;
        let mut inserted = 0;
        row.push(&mut |columns| {
            inserted = insert::one(self.store, "INSERT OR IGNORE INTO frames", columns)?;
            Ok(())
        })?;
        Ok(inserted > 0)
    }

    /// Writes what waits; before the table is read and at the end.
    pub(super) fn write(&mut self) -> rusqlite::Result<()> {
        self.fresh.sort_unstable_by_key(|row| row.key);
        // A failure undoes the whole transaction, so that SQLite needn't be able to undo this statement alone.
        insert::many(self.store, "INSERT OR FAIL INTO frames", &self.fresh, FrameRow::push)?;
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
        let (mut known, mut last, mut chance) = (BTreeSet::new(), LastNumbers::default(), 1_u32);
        for _ in 0..20 {
            let transaction = store.transaction().expect("a transaction");
            let mut frames = FrameWriter::new(&transaction);
            for _ in 0..100 {
                chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let (boot, sequence) = (chance >> 30, (chance >> 16) % 500 + chance % 2 * known.len() as u32);
                let key = FrameKey { device: 1, boot, priority: 0, sequence };
                let row = FrameRow { key, arrived: 0, body: &[1, 2] };
                let new = frames.insert(&mut last, &row).expect("room");
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
