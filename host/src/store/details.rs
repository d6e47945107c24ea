//! In: moves of an axis. Out: their settling curves and what is known of their ringing, from the raw frames.
//!
//! Neither has a table. Within a start the curves come in the order of the moves of an axis, so the first is found by
//! bisection, and the others follow it. Ringing comes with the curve, or some moves later.

use std::collections::HashMap;

use rusqlite::{Connection, params};
use stillpoint_core::CurvePoint;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;

use super::frame;
use crate::decode::StopRinging;

/// Ringing may come while so many further moves do.
const LATER: u32 = 8;

/// What came of a move beside its record.
#[derive(Clone, Debug, Default)]
pub(super) struct Details {
    /// Its settling curve.
    pub(super) curve: Vec<CurvePoint>,
    /// What is known of its ringing.
    pub(super) ringing: StopRinging,
}

/// Details of the moves `first` to `last` by number, as far as they came. `start` is device, boot and axis.
pub(super) fn read(
    store: &Connection,
    start: (i64, u32, u8),
    (first, last): (u32, u32),
) -> rusqlite::Result<HashMap<u32, Details>> {
    let mut found: HashMap<u32, Details> = HashMap::new();
    let Some(from) = find(store, start, first)? else { return Ok(found) };
    each(store, start, from, |_, number, message| {
        if !(first..=last).contains(&number) {
            return number <= last.saturating_add(LATER);
        }
        let details = found.entry(number).or_default();
        match message {
            // The pieces after a lost one have no place.
            Message::Curve(curve) if details.curve.len() == usize::from(curve.first) => {
                details.curve.extend(curve.points());
            }
            Message::Ringing(ringing) => details.ringing = ringing.into(),
            _ => (),
        }
        true
    })?;
    Ok(found)
}

/// Number of a frame from which the details of move `number` and later lie ahead.
fn find(store: &Connection, start: (i64, u32, u8), number: u32) -> rusqlite::Result<Option<u32>> {
    let (device, boot, _) = start;
    let (low, high): (Option<u32>, Option<u32>) = store
        .prepare_cached(
            "SELECT (SELECT min(sequence) FROM frames WHERE device = ?1 AND boot = ?2 AND priority = ?3),
                (SELECT max(sequence) FROM frames WHERE device = ?1 AND boot = ?2 AND priority = ?3)",
        )?
        .query_row(params![device, boot, Priority::Curve as u8], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let (Some(mut low), Some(mut high)) = (low, high) else { return Ok(None) };
    while low < high {
        let middle = low + (high - low) / 2;
        let mut found = None;
        each(store, start, middle, |sequence, number, message| {
            let is_curve = matches!(message, Message::Curve(_));
            found = is_curve.then_some((sequence, number));
            !is_curve
        })?;
        match found {
            Some((sequence, earlier)) if earlier < number && sequence < high => low = sequence + 1,
            Some((_, earlier)) if earlier < number => low = high,
            _ => high = middle,
        }
    }
    Ok(Some(low))
}

/// Passes frames with details of the axis to `out`, from a frame on, until it returns false: sequence, move, message.
fn each(
    store: &Connection,
    (device, boot, axis): (i64, u32, u8),
    from: u32,
    mut out: impl FnMut(u32, u32, &Message) -> bool,
) -> rusqlite::Result<()> {
    let mut statement = store.prepare_cached(
        "SELECT sequence, body FROM frames
        WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence >= ?4 ORDER BY sequence",
    )?;
    let mut rows = statement.query(params![device, boot, Priority::Curve as u8, from])?;
    while let Some(row) = rows.next()? {
        let Some(message) = frame::message(row.get_ref(1)?.as_blob()?) else { continue };
        let of = match &message {
            Message::Curve(curve) => (curve.axis, curve.number),
            Message::Ringing(ringing) => (ringing.axis, ringing.number),
            _ => continue,
        };
        if of.0 == axis && !out(row.get(0)?, of.1, &message) {
            break;
        }
    }
    Ok(())
}
