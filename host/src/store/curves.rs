//! In: moves of an axis. Out: their settling curves, from the raw frames.
//!
//! Curves have no table. Within a start, curves of an axis come in the order of its moves, so the first one is found by
//! bisection, and the others follow it.

use std::collections::HashMap;

use rusqlite::{Connection, params};
use stillpoint_core::CurvePoint;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;

use super::frame;

/// Curves of the moves `first` to `last` by number, as far as they came. `start` is device, boot and axis.
pub(super) fn read(
    store: &Connection,
    start: (i64, u32, u8),
    (first, last): (u32, u32),
) -> rusqlite::Result<HashMap<u32, Vec<CurvePoint>>> {
    let mut curves: HashMap<u32, Vec<CurvePoint>> = HashMap::new();
    let Some(from) = find(store, start, first)? else { return Ok(curves) };
    each(store, start, from, |_, curve| {
        if curve.number > last {
            return false;
        }
        let points = curves.entry(curve.number).or_default();
        // The pieces after a lost one have no place.
        if points.len() == usize::from(curve.first) {
            points.extend(curve.points());
        }
        !(curve.last && curve.number == last)
    })?;
    Ok(curves)
}

/// Number of a frame from which the curves of move `number` and later lie ahead.
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
        each(store, start, middle, |sequence, curve| {
            found = Some((sequence, curve.number));
            false
        })?;
        match found {
            Some((sequence, earlier)) if earlier < number && sequence < high => low = sequence + 1,
            Some((_, earlier)) if earlier < number => low = high,
            _ => high = middle,
        }
    }
    Ok(Some(low))
}

/// Passes curves of the axis to `out`, from a frame on, until it returns false.
fn each(
    store: &Connection,
    (device, boot, axis): (i64, u32, u8),
    from: u32,
    mut out: impl FnMut(u32, &Curve) -> bool,
) -> rusqlite::Result<()> {
    let mut statement = store.prepare_cached(
        "SELECT sequence, body FROM frames
        WHERE device = ?1 AND boot = ?2 AND priority = ?3 AND sequence >= ?4 ORDER BY sequence",
    )?;
    let mut rows = statement.query(params![device, boot, Priority::Curve as u8, from])?;
    while let Some(row) = rows.next()? {
        if let Some(Message::Curve(curve)) = frame::message(row.get_ref(1)?.as_blob()?)
            && curve.axis == axis
            && !out(row.get(0)?, &curve)
        {
            break;
        }
    }
    Ok(())
}
