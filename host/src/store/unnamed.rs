//! In: frames stored before anything said whose they are. Out: the same as their monitor's, once it is known.
//!
//! They are a monitor's if they came on its line, or if a move among them is told by one of its frames, byte by byte.
//! A start of which any frame differs from the monitor's of the same number is another's, and stays apart.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};
use stillpoint_core::wire::message::Message;

use super::derive::Stored;
use super::frames::{Number, said};
use super::group::newest;
use super::{journal, rebuild};

/// Starts of frames that came unnamed on a line, and when the first of them came. Unit: µs since 1970, UTC
pub(super) type Unnamed = BTreeMap<u32, i64>;

/// Hands over what is the monitor's, and makes the tables again. If there was any, what to tell of it, and how many of
/// the frames were the monitor's own already.
pub(super) fn hand_over(
    store: &Connection,
    number: &Number,
    line: &Unnamed,
) -> rusqlite::Result<Option<(String, u64)>> {
    let Some(to) = newest(store, number)? else { return Ok(None) };
    let (mut frames, mut same) = (0, 0);
    for (from, boot) in starts(store)? {
        let since = match compare(store, (from, to), boot)? {
            Same::Other => None,
            Same::Proven => Some(i64::MIN),
            Same::Unknown => line.get(&boot).copied(),
        };
        if let Some(since) = since {
            let (given, there) = give(store, (from, to), (boot, since))?;
            frames += given + there;
            same += there as u64;
        }
    }
    if frames == 0 {
        return Ok(None);
    }
    rebuild::derive_all(store)?;
    let text =
        format!("{frames} frames came before their monitor had said who it is; they are stored as its own");
    journal::said(store, "store", "monitor", &text)?;
    Ok(Some((text, same)))
}

/// Starts of which frames are stored as nobody's.
fn starts(store: &Connection) -> rusqlite::Result<Vec<(i64, u32)>> {
    let mut statement = store.prepare_cached(
        "SELECT DISTINCT device, boot FROM frames WHERE device IN (SELECT id FROM devices WHERE number = ?1)",
    )?;
    statement.query_map([&Number::default()[..]], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
}

/// What frames of the same numbers say of a start.
enum Same {
    /// One differs.
    Other,
    /// A move is told by both.
    Proven,
    Unknown,
}

fn compare(store: &Connection, (from, to): (i64, i64), boot: u32) -> rusqlite::Result<Same> {
    let mut statement = store.prepare_cached(
        "SELECT one.body, other.body FROM frames AS one JOIN frames AS other
            ON other.device = ?2 AND other.boot = one.boot AND other.priority = one.priority
            AND other.sequence = one.sequence WHERE one.device = ?1 AND one.boot = ?3",
    )?;
    let mut rows = statement.query(params![from, to, boot])?;
    let mut same = Same::Unknown;
    while let Some(row) = rows.next()? {
        let (one, other) = (row.get_ref(0)?.as_blob()?, row.get_ref(1)?.as_blob()?);
        if said(one) != said(other) {
            return Ok(Same::Other);
        }
        // Settings of two monitors may be alike; moves are not.
        let message = Stored::new(from, 0, one).and_then(|stored| stored.message());
        if matches!(message, Some(Message::Move(_))) {
            same = Same::Proven;
        }
    }
    Ok(same)
}

/// Hands over a start, or what came of it since; when it began follows from its frames anew. Returns how many
/// frames, and how many more were there already.
fn give(
    store: &Connection,
    (from, to): (i64, i64),
    (boot, since): (u32, i64),
) -> rusqlite::Result<(usize, usize)> {
    let those = "WHERE device = ?1 AND boot = ?2 AND arrived_us >= ?3";
    let given = store.execute(
        &format!("UPDATE OR IGNORE frames SET device = ?4 {those}"),
        params![from, boot, since, to],
    )?;
    // What is left of them the monitor's own frames say, too.
    let same = store.execute(&format!("DELETE FROM frames {those}"), params![from, boot, since])?;
    store.execute(
        "DELETE FROM boots WHERE device = ?1 AND boot = ?2
            AND NOT EXISTS (SELECT 1 FROM frames WHERE device = ?1 AND boot = ?2)",
        params![from, boot],
    )?;
    Ok((given, same))
}
