//! In: the raw frames. Out: all derived tables, made again.

use rusqlite::{Connection, TransactionBehavior};

use super::derive::Derive;
use super::frame::StoredFrame;
use super::marks::{self, HORIZON};
use super::schema;

/// Frames between two writes of the rows in memory.
const GROUP: u64 = 4096;

/// Makes the derived tables again, in one transaction. Returns from how many frames.
pub(super) fn rebuild(connection: &mut Connection) -> rusqlite::Result<u64> {
    let store = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let frames = derive_all(&store)?;
    store.commit()?;
    Ok(frames)
}

/// The same within a transaction. Returns from how many frames.
///
/// Summaries of days past retention stay: their frames are gone.
pub(super) fn derive_all(store: &Connection) -> rusqlite::Result<u64> {
    let horizon = marks::read(store, HORIZON)?.unwrap_or(i64::MIN);
    for table in schema::DERIVED_TABLES {
        match table {
            "summaries" => store.execute("DELETE FROM summaries WHERE at_us >= ?1", [horizon])?,
            _ => store.execute(&format!("DELETE FROM {table}"), [])?,
        };
    }
    let (mut derive, mut frames) = (Derive::default(), 0);
    derive.reload(store)?;
    let mut statement = store
        .prepare("SELECT device, arrived_us, body FROM frames ORDER BY device, boot, priority, sequence")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let Some(frame) = StoredFrame::new(row.get(0)?, row.get(1)?, row.get_ref(2)?.as_blob()?) else {
            continue;
        };
        if let Some(message) = frame.message() {
            derive.apply(store, &frame, &message)?;
        }
        frames += 1;
        if frames % GROUP == 0 {
            derive.write(store)?;
        }
    }
    derive.write(store)?;
    Ok(frames)
}
