//! In: an axis. Out: its kinds of moves across all starts of its monitor: what they are in words, their intervals, their
//! baselines, and when their watch began anew.
//!
//! A monitor numbers kinds anew at every start. Kinds of two starts are one here if their first moves would have been
//! one kind to the monitor: the same direction, distances within 12.5 % and speeds within 25 %. Within a start the
//! monitor knows better, unless it had to drop a kind that came again.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};
use stillpoint_core::drift;
use stillpoint_core::kind::{DISTANCE_TOLERANCE, SPEED_TOLERANCE};

use super::moves::Known;
use super::summary::{self, Summary};
use super::{Store, kind};
use crate::error::Error;
use crate::report::describe::{self, Typical};

/// What a monitor said of a kind when it first met it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Met {
    /// Towards larger counts.
    pub forward: bool,
    /// Unit: that of the axis
    pub distance: f64,
    /// Peak speed. Unit: that of the axis per second
    pub speed: f64,
    /// UTC. Unit: µs since 1970
    pub first_seen: i64,
    /// When it had to go for another, if it had to. UTC. Unit: µs since 1970
    pub dropped: Option<i64>,
}

impl Met {
    fn is_like(&self, other: &Met) -> bool {
        let near = |a: f64, b: f64, part: f32| (a - b).abs() <= f64::from(part) * a.max(b);
        self.forward == other.forward
            && near(self.distance, other.distance, DISTANCE_TOLERANCE)
            && near(self.speed, other.speed, SPEED_TOLERANCE)
    }
}

/// Moves of an axis that may be compared with each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Kind {
    /// What it is known by in each start, the oldest first; see [`kind::id`].
    pub ids: Vec<i64>,
    /// What the monitor said last; none if that was lost or it knows no kinds.
    pub met: Option<Met>,
    /// Name of the unit of the axis.
    pub unit: String,
}

impl Kind {
    /// Its number in the newest start that has it; 0: no kind.
    pub fn number(&self) -> u32 {
        self.ids.last().map_or(0, |id| kind::parts(*id).1)
    }

    /// As kinds are worded everywhere.
    pub fn words(&self) -> String {
        let typical = |met: Met| Typical { forward: met.forward, distance: met.distance, speed: met.speed };
        describe::kind(self.number(), self.met.map(typical), &self.unit)
    }
}

/// A median that a monitor declared good.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Declared {
    /// UTC. Unit: µs since 1970
    pub at: i64,
    /// Moves it rests on.
    pub moves: u32,
    /// Unit: ns
    pub median: i64,
}

impl Store {
    /// Kinds of an axis that have moves within a time, in the order in which they were met.
    pub fn kinds(&self, known: &Known, span: i64, within: (i64, i64)) -> Result<Vec<Kind>, Error> {
        let place = (known.device, known.axis.axis, span);
        let read = || {
            let seen = summary::kinds(&self.connection, place, within)?;
            let mut kinds = grouped(met(&self.connection, known)?, &known.axis.unit);
            for id in &seen {
                if !kinds.iter().any(|kind| kind.ids.contains(id)) {
                    kinds.push(Kind { ids: vec![*id], met: None, unit: known.axis.unit.clone() });
                }
            }
            kinds.retain(|kind| kind.ids.iter().any(|id| seen.contains(id)));
            Ok(kinds)
        };
        read().map_err(|error| self.fault(&error))
    }

    /// What each kind that the monitors of an axis told is in words, by its [`kind::id`].
    pub fn kind_words(&self, known: &Known) -> Result<BTreeMap<i64, String>, Error> {
        let met = met(&self.connection, known).map_err(|error| self.fault(&error))?;
        let kind = |(id, met)| Kind { ids: vec![id], met: Some(met), unit: known.axis.unit.clone() };
        Ok(met.into_iter().map(|(id, met)| (id, kind((id, met)).words())).collect())
    }

    /// Summaries of a kind over all starts, in order.
    pub fn summaries_of(
        &self,
        known: &Known,
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

    /// The newest baseline that a monitor told of a kind before `until`. Unit: µs since 1970, UTC
    pub fn baseline(&self, known: &Known, kind: &Kind, until: i64) -> Result<Option<Declared>, Error> {
        let sql = "SELECT boot, kind, at_us, moves, median_ns FROM baselines
            WHERE device = ?1 AND axis = ?2 AND at_us < ?3 ORDER BY at_us DESC, boot DESC, sequence DESC";
        let read = || -> rusqlite::Result<Option<Declared>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let mut rows = statement.query(params![known.device, known.axis.axis, until])?;
            while let Some(row) = rows.next()? {
                if kind.ids.contains(&kind::id(row.get(0)?, row.get(1)?)) {
                    return Ok(Some(Declared { at: row.get(2)?, moves: row.get(3)?, median: row.get(4)? }));
                }
            }
            Ok(None)
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Whether a monitor found a kind slower and has not taken that back.
    pub fn is_slower(&self, known: &Known, kind: &Kind) -> Result<bool, Error> {
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
                    (stands, upwards) = (drift::stands(row.get(3)?, stands), row.get(4)?);
                }
            }
            Ok(stands && upwards)
        };
        read().map_err(|error| self.fault(&error))
    }

    /// When the watch over a kind began anew because of other settings or a declaration; a kind that was dropped and
    /// came again goes on. Unit: µs since 1970, UTC
    pub fn restarts(&self, known: &Known, kind: &Kind) -> Result<Vec<i64>, Error> {
        let sql = "SELECT boot, kind, at_us FROM restarts
            WHERE device = ?1 AND axis = ?2 AND why <> 'dropped' ORDER BY at_us";
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

/// Kinds of an axis as they were told, in the order of starts and numbers.
fn met(store: &Connection, known: &Known) -> rusqlite::Result<Vec<(i64, Met)>> {
    let mut statement = store.prepare_cached(
        "SELECT boot, kind, forward, distance, speed, at_us, (SELECT min(at_us) FROM kinds AS later
            WHERE later.device = kinds.device AND later.axis = kinds.axis AND later.boot = kinds.boot
            AND later.instead_of = kinds.kind)
        FROM kinds WHERE device = ?1 AND axis = ?2 ORDER BY boot, kind",
    )?;
    let counts = known.axis.counts_per_unit;
    let rows = statement.query_map(params![known.device, known.axis.axis], |row| {
        let distance = row.get::<_, i64>(3)? as f64 / counts;
        let met = Met {
            forward: row.get(2)?,
            distance,
            speed: row.get::<_, f64>(4)? / counts,
            first_seen: row.get(5)?,
            dropped: row.get(6)?,
        };
        Ok((kind::id(row.get(0)?, row.get(1)?), met))
    })?;
    rows.collect()
}

/// Kinds of several starts put together.
fn grouped(all: Vec<(i64, Met)>, unit: &str) -> Vec<Kind> {
    let mut kinds: Vec<Kind> = Vec::new();
    for (id, met) in all {
        let start = kind::parts(id).0;
        let is_it = |known: &&mut Kind| {
            let Some(last) = &known.met else { return false };
            let same_start = known.ids.last().is_some_and(|last| kind::parts(*last).0 == start);
            last.is_like(&met) && (!same_start || last.dropped.is_some())
        };
        match kinds.iter_mut().find(is_it) {
            Some(known) => {
                known.ids.push(id);
                let first_seen = known.met.map_or(met.first_seen, |known| known.first_seen);
                known.met = Some(Met { first_seen, ..met });
            }
            None => kinds.push(Kind { ids: vec![id], met: Some(met), unit: unit.to_owned() }),
        }
    }
    kinds
}

#[cfg(test)]
mod tests {
    use super::*;

    fn met(forward: bool, distance: f64, speed: f64) -> Met {
        Met { forward, distance, speed, first_seen: 0, dropped: None }
    }

    #[test]
    fn kinds_of_several_starts_are_put_together_by_what_they_are() {
        let (out, back) = (met(true, 60.0, 600.0), met(false, 60.0, 600.0));
        let short = met(true, 12.0, 150.0);
        let gone = Met { dropped: Some(5), ..out };
        let check = |told: &[(u32, u32, Met)], expected: &[&[(u32, u32)]]| {
            let all = told.iter().map(|(boot, number, met)| (kind::id(*boot, *number), *met)).collect();
            let found: Vec<Vec<(u32, u32)>> = grouped(all, "mm")
                .into_iter()
                .map(|kind| kind.ids.into_iter().map(kind::parts).collect())
                .collect();
            assert_eq!(found, expected, "{told:?}");
        };
        check(
            &[(1, 1, out), (1, 2, back), (2, 1, back), (2, 2, out)],
            &[&[(1, 1), (2, 2)], &[(1, 2), (2, 1)]],
        );
        check(&[(1, 1, out), (1, 2, met(true, 66.0, 600.0))], &[&[(1, 1)], &[(1, 2)]]);
        check(&[(1, 1, gone), (1, 2, short), (1, 3, out)], &[&[(1, 1), (1, 3)], &[(1, 2)]]);
        check(&[(1, 1, out), (2, 1, met(true, 69.0, 600.0))], &[&[(1, 1)], &[(2, 1)]]);
        check(&[(1, 1, out), (2, 1, met(true, 66.0, 790.0))], &[&[(1, 1), (2, 1)]]);
        check(&[], &[]);
    }
}
