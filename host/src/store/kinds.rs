//! In: an axis. Out: its kinds of moves across all starts of its monitor: their descriptions, their intervals, their
//! baselines, and when their watch began anew.
//!
//! A monitor numbers kinds anew at every start. Kinds of two starts are one kind here if the monitor would have put their
//! first moves into one: the same direction, distances within 12.5 % and speeds within 25 %. Two kinds of one start stay
//! two, unless the monitor dropped the first before it met the second.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};
use stillpoint_core::drift;
use stillpoint_core::kind::{DISTANCE_TOLERANCE, SPEED_TOLERANCE};

use super::axes::KnownAxis;
use super::database::Store;
use super::kind;
use super::summary::Summary;
use crate::error::Error;
use crate::report::describe::{self, Typical};

/// What a monitor reported of a kind when it first met it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstMove {
    /// Towards larger counts.
    pub forward: bool,
    /// Unit: that of the axis
    pub distance: f64,
    /// Peak speed. Unit: that of the axis per second
    pub speed: f64,
    /// Whether the monitor dropped it later for another kind.
    pub dropped: bool,
}

impl FirstMove {
    fn is_like(&self, other: &FirstMove) -> bool {
        let near = |a: f64, b: f64, part: f32| (a - b).abs() <= f64::from(part) * a.max(b);
        self.forward == other.forward
            && near(self.distance, other.distance, DISTANCE_TOLERANCE)
            && near(self.speed, other.speed, SPEED_TOLERANCE)
    }
}

/// Moves of an axis that may be compared with each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Kind {
    /// Its number in each start, the oldest first; see [`kind::id`].
    pub ids: Vec<i64>,
    /// Its first move in the newest start; none if the frame was lost, or if the moves have no kind.
    pub first_move: Option<FirstMove>,
    /// Name of the unit of the axis.
    pub unit: String,
}

impl Kind {
    /// Its number in the newest start that has it; 0: no kind.
    pub fn number(&self) -> u32 {
        self.ids.last().map_or(0, |id| kind::parts(*id).1)
    }

    /// Direction, distance, speed and number, in the words that are used everywhere.
    pub fn describe(&self) -> String {
        let typical = |first: FirstMove| Typical {
            forward: first.forward,
            distance: first.distance,
            speed: first.speed,
        };
        describe::kind(self.number(), self.first_move.map(typical), &self.unit)
    }
}

impl Store {
    /// Kinds of an axis that have moves within a time, in the order in which they were met.
    pub fn kinds(&self, known: &KnownAxis, span: i64, within: (i64, i64)) -> Result<Vec<Kind>, Error> {
        let read = || {
            let present = self.kinds_within(known, span, within)?;
            let mut kinds = joined(first_moves(&self.connection, known)?, &known.axis.unit);
            for id in &present {
                if !kinds.iter().any(|kind| kind.ids.contains(id)) {
                    kinds.push(Kind { ids: vec![*id], first_move: None, unit: known.axis.unit.clone() });
                }
            }
            kinds.retain(|kind| kind.ids.iter().any(|id| present.contains(id)));
            Ok(kinds)
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Descriptions of all kinds of an axis, by [`kind::id`].
    pub fn kind_descriptions(&self, known: &KnownAxis) -> Result<BTreeMap<i64, String>, Error> {
        let all = first_moves(&self.connection, known).map_err(|error| self.fault(&error))?;
        let unit = &known.axis.unit;
        let describe =
            |id, first| Kind { ids: vec![id], first_move: Some(first), unit: unit.clone() }.describe();
        Ok(all.into_iter().map(|(id, first)| (id, describe(id, first))).collect())
    }

    /// Summaries of a kind over all starts, in order.
    pub fn summaries_of(
        &self,
        known: &KnownAxis,
        (span, kind): (i64, &Kind),
        within: (i64, i64),
    ) -> Result<Vec<Summary>, Error> {
        let mut all: BTreeMap<i64, Summary> = BTreeMap::new();
        for id in &kind.ids {
            for summary in self.summaries(known, (span, *id), within)? {
                all.entry(summary.at)
                    .or_insert_with(|| Summary { at: summary.at, ..Summary::default() })
                    .merge(&summary);
            }
        }
        Ok(all.into_values().collect())
    }

    /// Median settling time of the newest baseline of a kind before `until`, which is in µs since 1970, UTC. Unit: ns
    pub fn baseline(&self, known: &KnownAxis, kind: &Kind, until: i64) -> Result<Option<i64>, Error> {
        let sql = "SELECT boot, kind, median_ns FROM baselines
            WHERE device = ?1 AND axis = ?2 AND at_us < ?3 ORDER BY at_us DESC, boot DESC, sequence DESC";
        let read = || -> rusqlite::Result<Option<i64>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let mut rows = statement.query(params![known.device, known.axis.axis, until])?;
            while let Some(row) = rows.next()? {
                if kind.ids.contains(&kind::id(row.get(0)?, row.get(1)?)) {
                    return row.get(2).map(Some);
                }
            }
            Ok(None)
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Whether a drift of a kind towards longer settling stands, by what its monitor reported last.
    pub fn is_slower(&self, known: &KnownAxis, kind: &Kind) -> Result<bool, Error> {
        let sql = "SELECT boot, kind, sequence, score, direction = 'up' FROM drifts
            WHERE device = ?1 AND axis = ?2
            UNION ALL SELECT boot, kind, sequence, 0, 0 FROM restarts WHERE device = ?1 AND axis = ?2
            ORDER BY boot, sequence";
        let read = || -> rusqlite::Result<bool> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let mut rows = statement.query(params![known.device, known.axis.axis])?;
            let (mut stands, mut upwards) = (false, false);
            while let Some(row) = rows.next()? {
                let id = kind::id(row.get(0)?, row.get(1)?);
                // A restart of the whole axis has no kind.
                if id == kind::NONE || kind.ids.contains(&id) {
                    (stands, upwards) = (row.get::<_, u32>(3)? >= drift::LIMIT, row.get(4)?);
                }
            }
            Ok(stands && upwards)
        };
        read().map_err(|error| self.fault(&error))
    }

    /// When the watch over a kind began anew because of other settings or a declaration; a kind that was dropped and
    /// came again goes on. Unit: µs since 1970, UTC
    pub fn restarts(&self, known: &KnownAxis, kind: &Kind) -> Result<Vec<i64>, Error> {
        let sql = "SELECT boot, kind, at_us FROM restarts
            WHERE device = ?1 AND axis = ?2 AND why NOT IN ('dropped', 'warm', 'taught') ORDER BY at_us";
        let read = || -> rusqlite::Result<Vec<i64>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let rows = statement.query_map(params![known.device, known.axis.axis], |row| {
                Ok((kind::id(row.get(0)?, row.get(1)?), row.get(2)?))
            })?;
            let all: Vec<(i64, i64)> = rows.collect::<rusqlite::Result<_>>()?;
            let is_of = |id: &i64| *id == kind::NONE || kind.ids.contains(id);
            let mut times: Vec<i64> = all.into_iter().filter(|(id, _)| is_of(id)).map(|(_, at)| at).collect();
            times.dedup();
            Ok(times)
        };
        read().map_err(|error| self.fault(&error))
    }
}

/// The first move of each kind of an axis, in the order of starts and numbers.
fn first_moves(store: &Connection, known: &KnownAxis) -> rusqlite::Result<Vec<(i64, FirstMove)>> {
    let mut statement = store.prepare_cached(
        "SELECT boot, kind, forward, distance, speed, EXISTS (SELECT 1 FROM kinds AS later
            WHERE later.device = kinds.device AND later.axis = kinds.axis AND later.boot = kinds.boot
            AND later.instead_of = kinds.kind)
        FROM kinds WHERE device = ?1 AND axis = ?2 ORDER BY boot, kind",
    )?;
    let counts = known.axis.counts_per_unit;
    let rows = statement.query_map(params![known.device, known.axis.axis], |row| {
        let first = FirstMove {
            forward: row.get(2)?,
            distance: row.get::<_, i64>(3)? as f64 / counts,
            speed: row.get::<_, f64>(4)? / counts,
            dropped: row.get(5)?,
        };
        Ok((kind::id(row.get(0)?, row.get(1)?), first))
    })?;
    rows.collect()
}

/// Kinds of several starts, those that are alike joined.
fn joined(all: Vec<(i64, FirstMove)>, unit: &str) -> Vec<Kind> {
    let mut kinds: Vec<Kind> = Vec::new();
    for (id, first) in all {
        let start = kind::parts(id).0;
        let is_it = |known: &&mut Kind| {
            let Some(last) = &known.first_move else { return false };
            let same_start = known.ids.last().is_some_and(|last| kind::parts(*last).0 == start);
            last.is_like(&first) && (!same_start || last.dropped)
        };
        match kinds.iter_mut().find(is_it) {
            Some(known) => {
                known.ids.push(id);
                known.first_move = Some(first);
            }
            None => kinds.push(Kind { ids: vec![id], first_move: Some(first), unit: unit.to_owned() }),
        }
    }
    kinds
}

#[cfg(test)]
mod tests {
    use super::*;

    fn first(forward: bool, distance: f64, speed: f64) -> FirstMove {
        FirstMove { forward, distance, speed, dropped: false }
    }

    #[test]
    fn kinds_of_several_starts_are_joined_if_they_are_alike() {
        let (out, back) = (first(true, 60.0, 600.0), first(false, 60.0, 600.0));
        let short = first(true, 12.0, 150.0);
        let gone = FirstMove { dropped: true, ..out };
        let check = |kinds: &[(u32, u32, FirstMove)], expected: &[&[(u32, u32)]]| {
            let all = kinds.iter().map(|(boot, number, first)| (kind::id(*boot, *number), *first)).collect();
            let found: Vec<Vec<(u32, u32)>> = joined(all, "mm")
                .into_iter()
                .map(|kind| kind.ids.into_iter().map(kind::parts).collect())
                .collect();
            assert_eq!(found, expected, "{kinds:?}");
        };
        check(
            &[(1, 1, out), (1, 2, back), (2, 1, back), (2, 2, out)],
            &[&[(1, 1), (2, 2)], &[(1, 2), (2, 1)]],
        );
        check(&[(1, 1, out), (1, 2, first(true, 66.0, 600.0))], &[&[(1, 1)], &[(1, 2)]]);
        check(&[(1, 1, gone), (1, 2, short), (1, 3, out)], &[&[(1, 1), (1, 3)], &[(1, 2)]]);
        check(&[(1, 1, out), (2, 1, first(true, 69.0, 600.0))], &[&[(1, 1)], &[(2, 1)]]);
        check(&[(1, 1, out), (2, 1, first(true, 66.0, 790.0))], &[&[(1, 1), (2, 1)]]);
        check(&[], &[]);
    }
}
