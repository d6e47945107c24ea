//! In: an axis, kinds, and a time that begins or ends within an interval. Out: what the interval holds of that time.
//!
//! A summary cannot be split, so its moves are read. Moves past retention are gone, and with them that part.

use rusqlite::{Row, params};
use stillpoint_core::Record;
use stillpoint_core::wire::message::Message;

use super::axes::KnownAxis;
use super::boots::Boot;
use super::database::Store;
use super::sketch::Bins;
use super::summary::Summary;
use super::{frame, kind};
use crate::error::Error;

/// A part of an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Edge {
    /// Beginning of the interval. Unit: µs since 1970, UTC
    at: i64,
    /// The part. Unit: µs since 1970, UTC
    within: (i64, i64),
}

/// A time, cut at the bounds of intervals.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Parts {
    /// Whole intervals. Unit: µs since 1970, UTC
    pub(super) whole: (i64, i64),
    pub(super) edges: Vec<Edge>,
}

/// The time from the beginning of the first interval that a time touches. Unit: s, µs since 1970, UTC
pub(super) fn enclosing(span: i64, (since, until): (i64, i64)) -> (i64, i64) {
    (floor(span, since), until)
}

/// Beginning of the interval around an instant; the instant itself at the end of all times.
fn floor(span: i64, at: i64) -> i64 {
    let length = span * 1_000_000;
    at.div_euclid(length).checked_mul(length).unwrap_or(at)
}

/// Cuts a time at the bounds of intervals of `span` seconds. Unit: µs since 1970, UTC
pub(super) fn parts(span: i64, (since, until): (i64, i64)) -> Parts {
    let next = |at: i64| floor(span, at).saturating_add(span * 1_000_000);
    // An open end is no edge.
    let from = if floor(span, since) == since { since } else { next(since).min(until) };
    let to = if until == i64::MAX { until } else { floor(span, until).max(from) };
    let edge = |within: (i64, i64)| Edge { at: floor(span, within.0), within };
    let edges = [(since, from), (to, until)].into_iter().filter(|(from, to)| from < to).map(edge);
    Parts { whole: (from, to), edges: edges.collect() }
}

impl Store {
    /// The moves of some kinds within a part of an interval; `None` if there are none. A kind is a [`kind::id`].
    pub(super) fn partial_summary(
        &self,
        known: &KnownAxis,
        kinds: &[i64],
        edge: &Edge,
    ) -> Result<Option<Summary>, Error> {
        let sql = "SELECT moves.boot, kind, settling_ns, body, ticks_per_second FROM moves
            JOIN boots ON boots.device = moves.device AND boots.boot = moves.boot
            WHERE moves.device = ?1 AND axis = ?2 AND at_us >= ?3 AND at_us < ?4";
        let read = || -> rusqlite::Result<Option<Summary>> {
            let (bins, mut found) = (Bins::default(), None);
            let mut statement = self.connection.prepare_cached(sql)?;
            let (from, to) = edge.within;
            let mut rows = statement.query(params![known.device, known.axis.axis, from, to])?;
            while let Some(row) = rows.next()? {
                if kinds.contains(&kind::id(row.get(0)?, row.get(1)?)) {
                    let summary = found.get_or_insert_with(|| Summary::new(edge.at));
                    add(summary, &bins, row)?;
                }
            }
            Ok(found)
        };
        read().map_err(|error| self.fault(&error))
    }
}

/// Adds the move of a row. A row that can't be read is damage, which `check` reports.
fn add(summary: &mut Summary, bins: &Bins, row: &Row) -> rusqlite::Result<()> {
    let Some(Message::Move(wire)) = frame::message(row.get_ref(3)?.as_blob().unwrap_or_default()) else {
        return Ok(());
    };
    let settling: Option<i64> = row.get(2)?;
    let (record, boot) = (Record::from(&wire), Boot { ticks_per_second: row.get(4)?, epoch: 0 });
    let settling = settling.map(|settling| (settling, bins.bin(settling)));
    summary.add(record.outcome, settling, boot.nanoseconds(record.held));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_cut_at_the_bounds_of_intervals() {
        let minute = 60_000_000;
        let check = |within: (i64, i64), whole: (i64, i64), edges: &[(i64, (i64, i64))]| {
            let edges = edges.iter().map(|(at, within)| Edge { at: *at, within: *within }).collect();
            assert_eq!(parts(300, within), Parts { whole, edges }, "{within:?}");
        };
        check((0, 10 * minute), (0, 10 * minute), &[]);
        check(
            (minute, 11 * minute),
            (5 * minute, 10 * minute),
            &[(0, (minute, 5 * minute)), (10 * minute, (10 * minute, 11 * minute))],
        );
        check((minute, 2 * minute), (2 * minute, 2 * minute), &[(0, (minute, 2 * minute))]);
        check((0, 2 * minute), (0, 0), &[(0, (0, 2 * minute))]);
        check((i64::MIN, i64::MAX), (i64::MIN, i64::MAX), &[]);
        check((-minute, 0), (0, 0), &[(-5 * minute, (-minute, 0))]);
        assert_eq!(enclosing(300, (minute, i64::MAX)), (0, i64::MAX));
        assert_eq!(enclosing(300, (i64::MIN, 0)), (i64::MIN, 0));
    }
}
