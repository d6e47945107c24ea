//! In: the raw frames. Out: all derived tables, made again.

use rusqlite::{Connection, TransactionBehavior};

use super::derive::{Derive, HORIZON, Stored, mark};
use super::{Store, schema};
use crate::error::Error;

/// Frames between two writes of the summaries.
const GROUP: u64 = 4096;

impl Store {
    /// Makes the derived tables again. Returns from how many frames.
    ///
    /// Summaries of days past retention stay: their frames are gone.
    pub fn rebuild(&mut self) -> Result<u64, Error> {
        self.remake().map_err(|error| self.fault(&error))
    }

    fn remake(&mut self) -> rusqlite::Result<u64> {
        let store = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let frames = derive_all(&store)?;
        store.commit()?;
        Ok(frames)
    }
}

/// The same within a transaction. Returns from how many frames.
pub(super) fn derive_all(store: &Connection) -> rusqlite::Result<u64> {
    let horizon = mark(store, HORIZON)?.unwrap_or(i64::MIN);
    for table in schema::TABLES {
        match table {
            "summaries" => store.execute("DELETE FROM summaries WHERE at_us >= ?1", [horizon])?,
            _ => store.execute(&format!("DELETE FROM {table}"), [])?,
        };
    }
    let (mut derive, mut frames) = (Derive::default(), 0);
    derive.forget(store)?;
    let mut statement = store
        .prepare("SELECT device, arrived_us, body FROM frames ORDER BY device, boot, priority, sequence")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let Some(stored) = Stored::new(row.get(0)?, row.get(1)?, row.get_ref(2)?.as_blob()?) else {
            continue;
        };
        if let Some(message) = stored.message() {
            derive.take(store, &stored, &message)?;
        }
        frames += 1;
        if frames % GROUP == 0 {
            derive.write(store)?;
        }
    }
    derive.write(store)?;
    Ok(frames)
}
