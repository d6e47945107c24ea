//! In: moves as they are stored. Out: per axis, kind and interval how many had which outcome, and how long they settled.
//!
//! Kept as the moves arrive, for intervals of 5 minutes, an hour and a day of UTC at once, per kind and for all
//! kinds of the axis together: a picture of a month reads thousands of rows, not millions.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use rusqlite::{Connection, OptionalExtension, params};
use stillpoint_core::wire::record::Outcome;

use super::kind::ALL;
use super::sketch::{Bins, Sketch};

/// Lengths of the intervals. Unit: s
pub const SPANS: [i64; 3] = [300, 3600, 86_400];

/// Intervals held in memory; beyond, all are read again when needed.
const HELD: usize = 20_000;

/// Which interval of which moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Place {
    device: i64,
    axis: u8,
    span: i64,
    kind: i64,
    at: i64,
}

impl Place {
    /// The interval of this length around an instant, of no axis yet.
    fn of(span: i64, at: i64) -> Place {
        let length = span * 1_000_000;
        Place { device: 0, axis: 0, span, kind: ALL, at: at.div_euclid(length) * length }
    }
}

/// The moves of one interval.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Beginning of the interval, UTC. Unit: µs since 1970
    pub at: i64,
    /// Moves by outcome: settled, unsettled, interrupted, untrusted.
    pub outcomes: [i64; 4],
    /// Sum of the settling times. Unit: ns
    pub sum: i64,
    /// Shortest and longest. Unit: ns
    pub range: Option<(i64, i64)>,
    /// Their distribution.
    pub sketch: Sketch,
}

impl Summary {
    fn add(&mut self, outcome: Outcome, settling: Option<i64>, bin: i32) {
        if let Some(count) = self.outcomes.get_mut(outcome as usize) {
            *count += 1;
        }
        let Some(settling) = settling else { return };
        self.sum = self.sum.saturating_add(settling);
        let (least, most) = self.range.unwrap_or((settling, settling));
        self.range = Some((least.min(settling), most.max(settling)));
        self.sketch.add(bin, 1);
    }

    /// Adds the moves of another interval.
    pub fn merge(&mut self, other: &Summary) {
        self.outcomes.iter_mut().zip(other.outcomes).for_each(|(sum, count)| *sum += count);
        self.sum = self.sum.saturating_add(other.sum);
        self.range = match (self.range, other.range) {
            (Some(a), Some(b)) => Some((a.0.min(b.0), a.1.max(b.1))),
            (a, b) => a.or(b),
        };
        self.sketch.merge(&other.sketch);
    }
}

/// Summaries under work: moves are added to their shortest intervals in memory, and these to all others once per
/// transaction.
#[derive(Debug, Default)]
pub(super) struct Summaries {
    bins: Bins,
    fresh: BTreeMap<Place, Summary>,
    cells: BTreeMap<Place, (Summary, bool)>,
}

const READ: &str =
    "SELECT settled, unsettled, interrupted, untrusted, sum_ns, min_ns, max_ns, sketch FROM summaries
    WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us = ?5";

const WRITE: &str = "INSERT OR REPLACE INTO summaries
    VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)";

/// One move, as far as summaries care.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seen {
    pub(super) device: i64,
    pub(super) axis: u8,
    pub(super) kind: i64,
    /// Command end, UTC. Unit: µs since 1970
    pub(super) at: i64,
    pub(super) outcome: Outcome,
    /// Unit: ns
    pub(super) settling: Option<i64>,
}

impl Summaries {
    /// Adds a move.
    pub(super) fn add(&mut self, seen: &Seen) {
        let Seen { device, axis, kind, at, outcome, settling } = *seen;
        let bin = settling.map_or(0, |settling| self.bins.bin(settling));
        let place = Place { device, axis, kind, ..Place::of(SPANS[0], at) };
        self.fresh.entry(place).or_default().add(outcome, settling, bin);
    }

    /// Adds what is fresh to all its intervals.
    fn spread(&mut self, store: &Connection) -> rusqlite::Result<()> {
        for (fresh, added) in std::mem::take(&mut self.fresh) {
            for span in SPANS {
                for kind in [fresh.kind, ALL] {
                    let place =
                        Place { device: fresh.device, axis: fresh.axis, kind, ..Place::of(span, fresh.at) };
                    let (summary, changed) = match self.cells.entry(place) {
                        Entry::Occupied(held) => held.into_mut(),
                        Entry::Vacant(free) => free.insert((read(store, &place)?, false)),
                    };
                    summary.merge(&added);
                    *changed = true;
                }
            }
        }
        Ok(())
    }

    /// Writes what has changed.
    pub(super) fn write(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.spread(store)?;
        let mut statement = store.prepare_cached(WRITE)?;
        for (place, (summary, changed)) in self.cells.iter_mut().filter(|(_, (_, changed))| *changed) {
            let Place { device, axis, span, kind, at } = place;
            let [settled, unsettled, interrupted, untrusted] = summary.outcomes;
            let quantile = |share| summary.sketch.quantile(&self.bins, share);
            let (least, most) = summary.range.unzip();
            statement.execute(params![
                device,
                axis,
                span,
                kind,
                at,
                settled,
                unsettled,
                interrupted,
                untrusted,
                summary.sum,
                least,
                most,
                quantile(0.5),
                quantile(0.95),
                summary.sketch.to_bytes(),
            ])?;
            *changed = false;
        }
        if self.cells.len() > HELD {
            self.cells.clear();
        }
        Ok(())
    }

    /// What is in memory no longer holds: somebody else has written, or what was written is undone.
    pub(super) fn forget(&mut self) {
        self.fresh.clear();
        self.cells.clear();
    }
}

fn read(store: &Connection, place: &Place) -> rusqlite::Result<Summary> {
    let Place { device, axis, span, kind, at } = *place;
    let mut statement = store.prepare_cached(READ)?;
    let found =
        statement.query_row(params![device, axis, span, kind, at], |row| of_row(row, at)).optional()?;
    Ok(found.unwrap_or(Summary { at, ..Summary::default() }))
}

/// A summary from the columns of [`READ`].
fn of_row(row: &rusqlite::Row, at: i64) -> rusqlite::Result<Summary> {
    let range: (Option<i64>, Option<i64>) = (row.get(5)?, row.get(6)?);
    let sketch = Sketch::from_bytes(row.get_ref(7)?.as_blob().unwrap_or_default());
    Ok(Summary {
        at,
        outcomes: [row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?],
        sum: row.get(4)?,
        range: range.0.zip(range.1),
        sketch: sketch.unwrap_or_default(),
    })
}

/// Whole summaries of an axis over intervals that begin within a time, in order.
pub(super) fn whole(
    store: &Connection,
    (device, axis, span, kind): (i64, u8, i64, i64),
    (since, until): (i64, i64),
) -> rusqlite::Result<Vec<Summary>> {
    let mut statement = store.prepare_cached(
        "SELECT settled, unsettled, interrupted, untrusted, sum_ns, min_ns, max_ns, sketch, at_us FROM summaries
        WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us >= ?5 AND at_us < ?6",
    )?;
    let rows = statement
        .query_map(params![device, axis, span, kind, since, until], |row| of_row(row, row.get(8)?))?;
    rows.collect()
}

/// Kinds that have intervals within a time.
pub(super) fn kinds(
    store: &Connection,
    (device, axis, span): (i64, u8, i64),
    (since, until): (i64, i64),
) -> rusqlite::Result<Vec<i64>> {
    let mut statement = store.prepare_cached(
        "SELECT DISTINCT kind FROM summaries
        WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind <> ?4 AND at_us >= ?5 AND at_us < ?6 ORDER BY kind",
    )?;
    statement.query_map(params![device, axis, span, ALL, since, until], |row| row.get(0))?.collect()
}

/// One point of a picture over time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Interval {
    /// Its beginning, UTC. Unit: µs since 1970
    pub at: i64,
    /// Moves in it, settled or not.
    pub moves: i64,
    /// Median and 95 % quantile of the settling times, if any settled. Unit: ns
    pub quantiles: Option<(i64, i64)>,
}

/// What a picture needs of an axis: quantiles as they were calculated when the moves were stored.
pub(super) fn intervals(
    store: &Connection,
    (device, axis, span, kind): (i64, u8, i64, i64),
    (since, until): (i64, i64),
) -> rusqlite::Result<Vec<Interval>> {
    let mut statement = store.prepare_cached(
        "SELECT at_us, settled + unsettled + interrupted + untrusted, p50_ns, p95_ns FROM summaries
        WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us >= ?5 AND at_us < ?6",
    )?;
    let rows = statement.query_map(params![device, axis, span, kind, since, until], |row| {
        let quantiles: (Option<i64>, Option<i64>) = (row.get(2)?, row.get(3)?);
        Ok(Interval { at: row.get(0)?, moves: row.get(1)?, quantiles: quantiles.0.zip(quantiles.1) })
    })?;
    rows.collect()
}
