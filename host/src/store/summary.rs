//! In: moves as they are stored. Out: per axis, kind and interval the count of each outcome and the settling times.
//!
//! Summed up as the moves arrive, for intervals of 5 minutes, an hour and a day of UTC at once, per kind and for all
//! kinds of the axis together: a picture of a month reads thousands of rows, not millions.
//!
//! A move that was unsettled or interrupted has no settling time, but costs the time to the next command: these rests
//! are summed up too. A rest that is a pause is not, as nobody knows that the machine waited for the axis.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use rusqlite::{Connection, OptionalExtension, Row, named_params, params};
use stillpoint_core::Outcome;

use super::kind::ALL;
use super::move_rows::MoveRow;
use super::sketch::{Bins, Sketch};
use super::{insert, outcome};

/// Lengths of the intervals. Unit: s
pub const SPANS: [i64; 3] = [300, 3600, 86_400];

/// A rest of this length is a pause. Unit: ns
const PAUSE: i64 = 900 * 1_000_000_000;

/// Most intervals held in memory; beyond, all are read again when needed.
const MAX_CACHED: usize = 20_000;

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
    /// Counts of moves, by [`outcome::number`].
    pub outcomes: [i64; 4],
    /// Sum of the settling times. Unit: ns
    pub sum: i64,
    /// Shortest and longest settling time. Unit: ns
    pub range: Option<(i64, i64)>,
    /// Distribution of the settling times.
    pub sketch: Sketch,
    /// Sum of the rests of the unsettled and the interrupted moves; see [`Summary::rests`]. Unit: ns
    rests: Option<i64>,
}

impl Summary {
    /// Columns that [`Summary::of_row`] reads.
    pub(super) const COLUMNS: &str =
        "settled, unsettled, interrupted, untrusted, sum_ns, min_ns, max_ns, sketch, rests_ns";

    /// An empty one of the interval that begins then. Unit: µs since 1970, UTC
    pub fn new(at: i64) -> Summary {
        Summary { at, ..Summary::default() }
    }

    /// A summary from its [`Summary::COLUMNS`].
    pub(super) fn of_row(row: &Row, at: i64) -> rusqlite::Result<Summary> {
        let range: (Option<i64>, Option<i64>) = (row.get(5)?, row.get(6)?);
        let sketch = Sketch::from_bytes(row.get_ref(7)?.as_blob().unwrap_or_default());
        Ok(Summary {
            at,
            outcomes: [row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?],
            sum: row.get(4)?,
            range: range.0.zip(range.1),
            sketch: sketch.unwrap_or_default(),
            rests: row.get(8)?,
        })
    }

    /// Moves of an outcome.
    pub fn count(&self, outcome: Outcome) -> i64 {
        self.outcomes.get(usize::from(outcome::number(outcome))).copied().unwrap_or(0)
    }

    /// Sum of the rests of the unsettled and the interrupted moves, without pauses; `None` if there are such moves of a
    /// time when their rests were not summed up, whose frames are past retention. Unit: ns
    pub fn rests(&self) -> Option<i64> {
        let failed = self.count(Outcome::Unsettled) + self.count(Outcome::Interrupted);
        self.rests.or((failed == 0).then_some(0))
    }

    /// Adds a move: its settling time and the bin of it, and its rest. Unit: ns
    pub fn add(&mut self, outcome: Outcome, settling: Option<(i64, i32)>, rest: i64) {
        let failed = matches!(outcome, Outcome::Unsettled | Outcome::Interrupted) && rest < PAUSE;
        self.rests = self.rests().map(|rests| rests.saturating_add(if failed { rest } else { 0 }));
        if let Some(count) = self.outcomes.get_mut(usize::from(outcome::number(outcome))) {
            *count += 1;
        }
        let Some((settling, bin)) = settling else { return };
        self.sum = self.sum.saturating_add(settling);
        let (least, most) = self.range.unwrap_or((settling, settling));
        self.range = Some((least.min(settling), most.max(settling)));
        self.sketch.add(bin, 1);
    }

    /// Adds the moves of another interval.
    pub fn merge(&mut self, other: &Summary) {
        self.rests = self.rests().zip(other.rests()).map(|(a, b)| a.saturating_add(b));
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
    /// With a mark on those that differ from the file.
    cached: BTreeMap<Place, (Summary, bool)>,
}

impl Summaries {
    /// Adds a move.
    pub(super) fn add(&mut self, row: &MoveRow) {
        let settling = row.settling.map(|settling| (settling, self.bins.bin(settling)));
        let place =
            Place { device: row.device, axis: row.axis, kind: row.kind_id(), ..Place::of(SPANS[0], row.at) };
        self.fresh.entry(place).or_default().add(row.outcome, settling, row.rest);
    }

    /// Adds the fresh intervals to all that contain them.
    fn spread(&mut self, store: &Connection) -> rusqlite::Result<()> {
        for (fresh, added) in std::mem::take(&mut self.fresh) {
            for span in SPANS {
                for kind in [fresh.kind, ALL] {
                    let place =
                        Place { device: fresh.device, axis: fresh.axis, kind, ..Place::of(span, fresh.at) };
                    let (summary, changed) = match self.cached.entry(place) {
                        Entry::Occupied(cached) => cached.into_mut(),
                        Entry::Vacant(free) => free.insert((read(store, &place)?, false)),
                    };
                    summary.merge(&added);
                    *changed = true;
                }
            }
        }
        Ok(())
    }

    /// Writes the summaries that have changed.
    pub(super) fn write(&mut self, store: &Connection) -> rusqlite::Result<()> {
        self.spread(store)?;
        for (place, (summary, changed)) in self.cached.iter_mut().filter(|(_, (_, changed))| *changed) {
            write(store, &self.bins, place, summary)?;
            *changed = false;
        }
        if self.cached.len() > MAX_CACHED {
            self.cached.clear();
        }
        Ok(())
    }

    /// Drops what is in memory, because the file has changed.
    pub(super) fn clear(&mut self) {
        self.fresh.clear();
        self.cached.clear();
    }
}

fn write(store: &Connection, bins: &Bins, place: &Place, summary: &Summary) -> rusqlite::Result<()> {
    let quantile = |share| summary.sketch.quantile(bins, share);
    let (least, most) = summary.range.unzip();
    let columns = named_params! {
        "device": place.device,
        "axis": place.axis,
        "span": place.span,
        "kind": place.kind,
        "at_us": place.at,
        "settled": summary.count(Outcome::Settled),
        "unsettled": summary.count(Outcome::Unsettled),
        "interrupted": summary.count(Outcome::Interrupted),
        "untrusted": summary.count(Outcome::Untrusted),
        "sum_ns": summary.sum,
        "min_ns": least,
        "max_ns": most,
        "p50_ns": quantile(0.5),
        "p95_ns": quantile(0.95),
        "sketch": summary.sketch.to_bytes(),
        "rests_ns": summary.rests(),
    };
    insert::one(store, "INSERT OR REPLACE INTO summaries", columns)?;
    Ok(())
}

/// The summary in the file; an empty one if there is none.
fn read(store: &Connection, place: &Place) -> rusqlite::Result<Summary> {
    let Place { device, axis, span, kind, at } = *place;
    let mut statement = store.prepare_cached(&format!(
        "SELECT {} FROM summaries WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us = ?5",
        Summary::COLUMNS
    ))?;
    let found = statement
        .query_row(params![device, axis, span, kind, at], |row| Summary::of_row(row, at))
        .optional()?;
    Ok(found.unwrap_or(Summary::new(at)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rests_are_summed_up_where_all_are_known() {
        let bins = Bins::default();
        let of = |moves: &[(Outcome, i64)]| {
            let mut summary = Summary::default();
            for (outcome, rest) in moves {
                let settling = (*outcome == Outcome::Settled).then_some((7, bins.bin(7)));
                summary.add(*outcome, settling, *rest);
            }
            summary
        };
        let all = [Outcome::Settled, Outcome::Unsettled, Outcome::Interrupted, Outcome::Untrusted];
        let mut summary = of(&all.map(|outcome| (outcome, 10)));
        assert_eq!(summary.rests(), Some(20));
        summary.merge(&of(&[(Outcome::Unsettled, PAUSE - 1), (Outcome::Unsettled, PAUSE)]));
        assert_eq!((summary.rests(), summary.count(Outcome::Unsettled)), (Some(PAUSE + 19), 3));
        let old = Summary { outcomes: [5, 1, 0, 0], ..Summary::default() };
        assert_eq!(old.rests(), None);
        summary.merge(&old);
        summary.add(Outcome::Unsettled, None, 5);
        assert_eq!(summary.rests(), None, "one is not known");
        let fine = Summary { outcomes: [5, 0, 0, 9], ..Summary::default() };
        assert_eq!(fine.rests(), Some(0), "nothing failed");
    }
}
