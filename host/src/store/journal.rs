//! In: what happened and who did it. Out: a line of the append-only journal, its words safe to show with any tool.

use rusqlite::{Connection, params};
use stillpoint_core::wire::header::Header;

use super::frame::FrameKey;
use super::time;
use crate::report::printable::printable;

/// What the line is about that a rescued store carries.
pub(super) const RESCUE: &str = "rescue";

/// Writes a line about a frame. A frame makes one line at most, however often it comes, and also if it was stored as
/// an orphan before it was handed over to its monitor.
pub(super) fn write_of_frame(
    store: &Connection,
    key: FrameKey,
    at: i64,
    (what, text): (&str, &str),
    axis: Option<u8>,
) -> rusqlite::Result<()> {
    let mut statement = store.prepare_cached(
        "INSERT OR IGNORE INTO journal (at_us, who, what, text, device, axis, boot, priority, sequence)
        SELECT ?1, 'monitor', ?2, ?3, ?4, ?5, ?6, ?7, ?8 WHERE NOT EXISTS (
            SELECT 1 FROM devices JOIN journal AS line ON line.device = devices.id
            WHERE number = zeroblob(12) AND line.boot = ?6 AND line.priority = ?7 AND line.sequence = ?8
                AND line.text = ?3 AND NOT EXISTS (SELECT 1 FROM frames WHERE frames.device = line.device
                    AND frames.boot = ?6 AND frames.priority = ?7 AND frames.sequence = ?8))",
    )?;
    statement.execute(params![
        at,
        what,
        printable(text),
        key.device,
        axis,
        key.boot,
        key.priority,
        key.sequence
    ])?;
    Ok(())
}

/// Writes a line about what a person or the store itself did, now.
pub(super) fn write(store: &Connection, who: &str, what: &str, text: &str) -> rusqlite::Result<()> {
    let mut statement =
        store.prepare_cached("INSERT INTO journal (at_us, who, what, text) VALUES (?1, ?2, ?3, ?4)")?;
    statement.execute(params![time::now(), printable(who), printable(what), printable(text)])?;
    Ok(())
}

/// Writes a line about a change that a person made to an axis, or to the whole machine, now. Returns its number.
pub(super) fn write_of_change(
    store: &Connection,
    who: &str,
    (what, text): (&str, &str),
    axis: Option<(i64, u8)>,
) -> rusqlite::Result<i64> {
    let mut statement = store.prepare_cached(
        "INSERT INTO journal (at_us, who, what, text, device, axis) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?;
    let (device, axis) = axis.unzip();
    statement.execute(params![time::now(), printable(who), what, printable(text), device, axis])?;
    Ok(store.last_insert_rowid())
}

/// Writes a line about what a person had a monitor do, now; `answer` is the frame with which the monitor answered.
pub(super) fn write_of_action(
    store: &Connection,
    who: &str,
    (what, text): (&str, &str),
    (device, answer): (Option<i64>, &Header),
    axis: Option<u8>,
) -> rusqlite::Result<()> {
    // No priority: the line with the priority is the one that the frame itself makes.
    let mut statement = store.prepare_cached(
        "INSERT INTO journal (at_us, who, what, text, device, axis, boot, sequence)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?;
    let (who, text) = (printable(who), printable(text));
    statement.execute(params![time::now(), who, what, text, device, axis, answer.boot, answer.sequence])?;
    Ok(())
}
