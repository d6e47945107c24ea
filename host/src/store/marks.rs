//! In: the name of a figure that the store notes about itself. Out: the figure.

use rusqlite::{Connection, OptionalExtension, params};

/// Moves before this instant are past retention. Unit: µs since 1970, UTC
pub(super) const HORIZON: &str = "horizon_us";
/// When the last frame came. Unit: µs since 1970, UTC
pub(super) const ARRIVED: &str = "arrived_us";

/// The figure of a mark; none if it was never set.
pub(super) fn read(store: &Connection, name: &str) -> rusqlite::Result<Option<i64>> {
    let mut statement = store.prepare_cached("SELECT value FROM marks WHERE name = ?1")?;
    statement.query_row([name], |row| row.get(0)).optional()
}

/// Sets a mark.
pub(super) fn write(store: &Connection, name: &str, value: i64) -> rusqlite::Result<()> {
    let sql = "INSERT OR REPLACE INTO marks (name, value) VALUES (?1, ?2)";
    store.prepare_cached(sql)?.execute(params![name, value])?;
    Ok(())
}

/// Removes a mark. Returns whether it was there.
pub(super) fn remove(store: &Connection, name: &str) -> rusqlite::Result<bool> {
    Ok(store.prepare_cached("DELETE FROM marks WHERE name = ?1")?.execute([name])? > 0)
}
