//! In: a monitor's own number, and the names of its axes. Out: its row in the store, and the names with it.

use rusqlite::{Connection, OptionalExtension, named_params};

use super::frame::DeviceNumber;
use super::insert;

/// Name of an axis and its scale.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Number, from 0.
    pub axis: u8,
    /// Its name.
    pub name: String,
    /// Name of its unit.
    pub unit: String,
    /// Unit: counts/unit
    pub counts_per_unit: f64,
    /// Half-width of the window as the user gave it, if that is known. Unit: its unit
    pub window: Option<f64>,
    /// The line, the file or the rehearsal that its frames came from.
    pub source: String,
}

/// The newest device of this number.
pub(super) fn newest(store: &Connection, number: &DeviceNumber) -> rusqlite::Result<Option<i64>> {
    let sql = "SELECT id FROM devices WHERE number = ?1 ORDER BY generation DESC LIMIT 1";
    store.prepare_cached(sql)?.query_row([&number[..]], |row| row.get(0)).optional()
}

/// The newest device of this number, which is added if there is none.
pub(super) fn find_or_add(store: &Connection, number: &DeviceNumber) -> rusqlite::Result<i64> {
    if let Some(device) = newest(store, number)? {
        return Ok(device);
    }
    store.execute("INSERT INTO devices (number, generation) VALUES (?1, 0)", [&number[..]])?;
    Ok(store.last_insert_rowid())
}

/// Tick rate of a device, once it has named it. A device without a row is an error. Unit: ticks/s
pub(super) fn rate(store: &Connection, device: i64) -> rusqlite::Result<Option<u32>> {
    let sql = "SELECT ticks_per_second FROM devices WHERE id = ?1";
    let rate: Option<u32> = store.prepare_cached(sql)?.query_row([device], |row| row.get(0))?;
    Ok(rate.filter(|rate| *rate > 0))
}

/// Adds the next generation of a device, with its names, for a monitor that counts its starts from anew.
pub(super) fn add_generation(store: &Connection, device: i64) -> rusqlite::Result<i64> {
    store.execute(
        "INSERT INTO devices (number, generation, board, firmware, ticks_per_second)
        SELECT number, generation + 1, board, firmware, ticks_per_second FROM devices WHERE id = ?1",
        [device],
    )?;
    let new = store.last_insert_rowid();
    store.execute(
        "INSERT INTO axes (device, axis, name, unit, counts_per_unit, window, source)
        SELECT ?1, axis, name, unit, counts_per_unit, window, source FROM axes WHERE device = ?2",
        [new, device],
    )?;
    Ok(new)
}

/// Stores names and scales of the axes; those that were given last hold.
pub(super) fn name_axes(store: &Connection, device: i64, axes: &[Axis]) -> rusqlite::Result<()> {
    for Axis { axis, name, unit, counts_per_unit, window, source } in axes {
        let columns = named_params! {
            "device": device,
            "axis": axis,
            "name": name,
            "unit": unit,
            "counts_per_unit": counts_per_unit,
            "window": window,
            "source": source,
        };
        insert::one(store, "INSERT OR REPLACE INTO axes", columns)?;
    }
    Ok(())
}
