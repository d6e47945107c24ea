//! In: orphans, which are frames stored before a hello named their monitor. Out: the same frames as their monitor's.
//!
//! Orphans are the monitor's if they came on its line, or if a move among them equals one of its own, byte by byte. A
//! start of which any frame differs from the monitor's frame of the same number belongs to another monitor, and stays
//! apart.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};
use stillpoint_core::wire::message::Message;

use super::frame::{DeviceNumber, UNKNOWN_DEVICE, content, message};
use super::{devices, journal, rebuild};
use crate::report::number;

/// Starts of the orphans that came on one line, and when the first frame of each came. Unit: µs since 1970, UTC
pub(super) type LineOrphans = BTreeMap<u32, i64>;

/// Orphans that became their monitor's.
pub(super) struct Adopted {
    /// What to say of it, if some are of an earlier line: the first frames of this one come before every hello.
    pub(super) text: Option<String>,
    /// Frames that the monitor had already.
    pub(super) known: u64,
    /// The others, from which rows are still to be made: device, arrival, body. Live ones come first, since they date their
    /// start best; of those out of the log the last one does.
    pub(super) frames: Vec<(i64, i64, Vec<u8>)>,
}

/// Frames of which rows are made one by one; of more, all tables are made again.
const MOST: usize = 20_000;

/// Hands orphans over to their monitor, and returns those from which rows are to be made. None if there were no orphans of it.
pub(super) fn adopt(
    store: &Connection,
    number: &DeviceNumber,
    line: &LineOrphans,
) -> rusqlite::Result<Option<Adopted>> {
    let Some(to) = devices::newest(store, number)? else { return Ok(None) };
    let (mut moved, mut known, mut frames) = (0, 0, Vec::new());
    let (mut has_rows, mut is_of_earlier_line) = (false, false);
    for (from, boot) in orphan_starts(store)? {
        let since = match compare(store, (from, to), boot)? {
            Origin::Other => None,
            Origin::Proven => Some(i64::MIN),
            Origin::Unknown => line.get(&boot).copied(),
        };
        if let Some(since) = since {
            is_of_earlier_line |= since == i64::MIN;
            // An earlier version made rows of orphans, too.
            has_rows |= is_dated(store, (from, boot))?;
            if frames.len() <= MOST {
                frames.extend(new_frames(store, (from, to), (boot, since))?);
            }
            let (here, there) = hand_over(store, (from, to), (boot, since))?;
            moved += here;
            known += there;
        }
    }
    if moved + known == 0 {
        return Ok(None);
    }
    if has_rows || frames.len() > MOST {
        rebuild::derive_all(store)?;
        frames.clear();
    }
    let text = is_of_earlier_line.then(|| note(store, moved + known)).transpose()?;
    Ok(Some(Adopted { text, known: known as u64, frames }))
}

/// Writes into the journal how many frames were handed over. Returns the line.
fn note(store: &Connection, count: usize) -> rusqlite::Result<String> {
    let text = format!(
        "{} from before their monitor identified itself, stored as its own",
        number::count(count, "frame")
    );
    journal::write(store, "store", "monitor", &text)?;
    Ok(text)
}

/// Devices and starts of the orphans.
fn orphan_starts(store: &Connection) -> rusqlite::Result<Vec<(i64, u32)>> {
    let mut statement = store.prepare_cached(
        "SELECT DISTINCT device, boot FROM frames WHERE device IN (SELECT id FROM devices WHERE number = ?1)",
    )?;
    statement.query_map([&UNKNOWN_DEVICE[..]], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
}

/// Whose a start is, by the frames that have the same numbers.
enum Origin {
    /// One of them differs: another monitor's.
    Other,
    /// All are equal, and one is a move: the monitor's.
    Proven,
    Unknown,
}

fn compare(store: &Connection, (from, to): (i64, i64), boot: u32) -> rusqlite::Result<Origin> {
    let mut statement = store.prepare_cached(
        "SELECT one.body, other.body FROM frames AS one JOIN frames AS other
            ON other.device = ?2 AND other.boot = one.boot AND other.priority = one.priority
            AND other.sequence = one.sequence WHERE one.device = ?1 AND one.boot = ?3",
    )?;
    let mut rows = statement.query(params![from, to, boot])?;
    let mut origin = Origin::Unknown;
    while let Some(row) = rows.next()? {
        let (one, other) = (row.get_ref(0)?.as_blob()?, row.get_ref(1)?.as_blob()?);
        if content(one) != content(other) {
            return Ok(Origin::Other);
        }
        // Settings of two monitors may be alike; moves are not.
        if matches!(message(one), Some(Message::Move(_))) {
            origin = Origin::Proven;
        }
    }
    Ok(origin)
}

/// Whether a start has a wall time, and so rows.
fn is_dated(store: &Connection, start: (i64, u32)) -> rusqlite::Result<bool> {
    let sql = "SELECT EXISTS (SELECT 1 FROM boots WHERE device = ?1 AND boot = ?2)";
    store.prepare_cached(sql)?.query_row(start, |row| row.get(0))
}

/// The frames of a start that came at `since` or later, and that the monitor has not; one more than [`MOST`] at most.
fn new_frames(
    store: &Connection,
    (from, to): (i64, i64),
    (boot, since): (u32, i64),
) -> rusqlite::Result<Vec<(i64, i64, Vec<u8>)>> {
    let mut statement = store.prepare_cached(
        "SELECT arrived_us, body, substr(body, 1, 1) >= x'40' AS replay FROM frames AS one
        WHERE device = ?1 AND boot = ?3 AND arrived_us >= ?4 AND NOT EXISTS (SELECT 1 FROM frames WHERE device = ?2
            AND boot = ?3 AND priority = one.priority AND sequence = one.sequence)
        ORDER BY replay, CASE replay WHEN 0 THEN sequence ELSE -sequence END LIMIT ?5",
    )?;
    let values = params![from, to, boot, since, MOST as i64 + 1];
    statement.query_map(values, |row| Ok((to, row.get(0)?, row.get(1)?)))?.collect()
}

/// Hands over the frames of a start that came at `since` or later. The wall time of the start is not handed over: it is
/// fixed anew from the frames. Returns how many frames went over, and how many more the monitor had already.
fn hand_over(
    store: &Connection,
    (from, to): (i64, i64),
    (boot, since): (u32, i64),
) -> rusqlite::Result<(usize, usize)> {
    let which = "WHERE device = ?1 AND boot = ?2 AND arrived_us >= ?3";
    let moved = store.execute(
        &format!("UPDATE OR IGNORE frames SET device = ?4 {which}"),
        params![from, boot, since, to],
    )?;
    // The frames that did not go over are those that the monitor had already.
    let known = store.execute(&format!("DELETE FROM frames {which}"), params![from, boot, since])?;
    store.execute(
        "DELETE FROM boots WHERE device = ?1 AND boot = ?2
            AND NOT EXISTS (SELECT 1 FROM frames WHERE device = ?1 AND boot = ?2)",
        params![from, boot],
    )?;
    Ok((moved, known))
}
