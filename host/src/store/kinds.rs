//! In: an axis and a time. Out: its kinds of moves across all starts of its monitor: their descriptions, their intervals,
//! their baselines, and when their watch began anew, all as they were known at the end of that time.
//!
//! A monitor numbers kinds anew at every start. Kinds of two starts are one kind here if the monitor would have put their
//! first moves into one: the same direction, distances within 12.5 % and speeds within 25 %. Two kinds of one start stay
//! two, unless the monitor dropped the first before it met the second.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, Row, params};
use stillpoint_core::drift;
use stillpoint_core::kind::{DISTANCE_TOLERANCE, SPEED_TOLERANCE};

use super::axes::KnownAxis;
use super::database::Store;
use super::summary::Summary;
use super::{kind, partial};
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

/// What a monitor reported of the settling of a kind while it was good.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KnownBaseline {
    /// When it was reported. Unit: µs since 1970, UTC
    pub at: i64,
    /// Its first move; `None` if the monitor did not send it. Unit: µs since 1970, UTC
    pub from: Option<i64>,
    /// Mean of the settled; `None` if the monitor did not send it. Unit: ns
    pub mean: Option<i64>,
    /// `None` where hardly any move settles near it. Unit: ns
    pub median: Option<i64>,
    /// `None` where the monitor does not state it. Unit: ns
    pub p95: Option<i64>,
    /// Unsettled moves, and all settled and unsettled moves; `None` if the monitor did not send them.
    pub unsettled: Option<(u64, u64)>,
}

impl KnownBaseline {
    /// Columns that [`KnownBaseline::of_row`] reads.
    const COLUMNS: &str = "at_us, from_us, mean_ns, median_ns, p95_ns, median_is_empty, unsettled, moves";

    fn of_row(row: &Row) -> rusqlite::Result<KnownBaseline> {
        let (mean, p95): (Option<i64>, Option<i64>) = (row.get("mean_ns")?, row.get("p95_ns")?);
        // A mean of 0 beside a longer p95 was not counted, nor were unsettled moves.
        let mean = mean.filter(|mean| *mean > 0 || p95 == Some(0));
        let (unsettled, moves): (Option<u32>, u32) = (row.get("unsettled")?, row.get("moves")?);
        let unsettled = unsettled.filter(|_| mean.is_some()).map(u64::from);
        Ok(KnownBaseline {
            at: row.get("at_us")?,
            from: row.get("from_us")?,
            mean,
            median: row
                .get::<_, Option<i64>>("median_ns")?
                .filter(|_| !row.get("median_is_empty").unwrap_or(false)),
            p95,
            unsettled: unsettled.map(|unsettled| (unsettled, unsettled + u64::from(moves))),
        })
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
            let present = self.kinds_within(known, span, partial::enclosing(span, within))?;
            let mut kinds = joined(first_moves(&self.connection, known, within.1)?, &known.axis.unit);
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
        let all = first_moves(&self.connection, known, i64::MAX).map_err(|error| self.fault(&error))?;
        let unit = &known.axis.unit;
        let describe =
            |id, first| Kind { ids: vec![id], first_move: Some(first), unit: unit.clone() }.describe();
        Ok(all.into_iter().map(|(id, first)| (id, describe(id, first))).collect())
    }

    /// Summaries of a kind over all starts, in order. An interval that begins before the time or ends after it has only
    /// the moves within.
    pub fn summaries_of(
        &self,
        known: &KnownAxis,
        (span, kind): (i64, &Kind),
        within: (i64, i64),
    ) -> Result<Vec<Summary>, Error> {
        let partial::Parts { whole, edges } = partial::parts(span, within);
        let mut all: BTreeMap<i64, Summary> = BTreeMap::new();
        let mut add = |summary: Summary| {
            let at = summary.at;
            all.entry(at).or_insert_with(|| Summary::new(at)).merge(&summary);
        };
        for id in &kind.ids {
            self.summaries(known, (span, *id), whole)?.into_iter().for_each(&mut add);
        }
        for edge in edges {
            self.partial_summary(known, &kind.ids, &edge)?.into_iter().for_each(&mut add);
        }
        Ok(all.into_values().collect())
    }

    /// Baselines of a kind reported before `until`, in order. Unit: µs since 1970, UTC
    pub fn baselines(&self, known: &KnownAxis, kind: &Kind, until: i64) -> Result<Vec<KnownBaseline>, Error> {
        let read = || -> rusqlite::Result<Vec<KnownBaseline>> {
            let mut statement = self.connection.prepare_cached(&format!(
                "SELECT boot, kind, {} FROM baselines
                WHERE device = ?1 AND axis = ?2 AND at_us < ?3 ORDER BY at_us, boot, sequence",
                KnownBaseline::COLUMNS
            ))?;
            let rows = statement.query_map(params![known.device, known.axis.axis, until], |row| {
                Ok((kind::id(row.get(0)?, row.get(1)?), KnownBaseline::of_row(row)?))
            })?;
            let all: Vec<(i64, KnownBaseline)> = rows.collect::<rusqlite::Result<_>>()?;
            Ok(all.into_iter().filter(|(id, _)| kind.ids.contains(id)).map(|(_, known)| known).collect())
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Whether a drift of a kind towards longer settling stood at `until`, by what its monitor had reported last; `None` if
    /// the moves that would date its reports are past retention. Unit: µs since 1970, UTC
    pub fn is_slower(&self, known: &KnownAxis, kind: &Kind, until: i64) -> Result<Option<bool>, Error> {
        // A report of a drift has no time but the number of a move.
        let sql = "SELECT boot, kind, sequence, score, direction = 'up', number FROM drifts
            WHERE device = ?1 AND axis = ?2
            UNION ALL SELECT boot, kind, sequence, 0, 0, 0 FROM restarts
            WHERE device = ?1 AND axis = ?2 AND at_us < ?3
            ORDER BY boot, sequence";
        let read = || -> rusqlite::Result<Option<bool>> {
            let Some(last) = self.last_move(known, until)? else { return Ok(None) };
            let mut statement = self.connection.prepare_cached(sql)?;
            let mut rows = statement.query(params![known.device, known.axis.axis, until])?;
            let (mut stands, mut upwards) = (false, false);
            while let Some(row) = rows.next()? {
                let (boot, id) = (row.get(0)?, kind::id(row.get(0)?, row.get(1)?));
                // A restart of the whole axis has no kind.
                if (boot, row.get(5)?) <= last && (id == kind::NONE || kind.ids.contains(&id)) {
                    (stands, upwards) = (row.get::<_, u32>(3)? >= drift::LIMIT, row.get(4)?);
                }
            }
            Ok(Some(stands && upwards))
        };
        read().map_err(|error| self.fault(&error))
    }

    /// Start and number of the last move of an axis before `until`. Starts count upwards.
    fn last_move(&self, known: &KnownAxis, until: i64) -> rusqlite::Result<Option<(u32, u32)>> {
        let sql = "SELECT boot, number FROM moves WHERE device = ?1 AND axis = ?2 AND at_us < ?3
            ORDER BY at_us DESC, boot DESC, number DESC LIMIT 1";
        self.connection
            .prepare_cached(sql)?
            .query_row(params![known.device, known.axis.axis, until], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()
    }

    /// When the watch over a kind began anew before `until`, because of other settings or a declaration; a kind that was
    /// dropped and came again goes on. Unit: µs since 1970, UTC
    pub fn restarts(&self, known: &KnownAxis, kind: &Kind, until: i64) -> Result<Vec<i64>, Error> {
        let sql = "SELECT boot, kind, at_us FROM restarts
            WHERE device = ?1 AND axis = ?2 AND at_us < ?3 AND why NOT IN ('dropped', 'warm', 'taught')
            ORDER BY at_us";
        let read = || -> rusqlite::Result<Vec<i64>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            let rows = statement.query_map(params![known.device, known.axis.axis, until], |row| {
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

/// The first move of each kind of an axis that was met before `until`, in the order of starts and numbers.
fn first_moves(store: &Connection, known: &KnownAxis, until: i64) -> rusqlite::Result<Vec<(i64, FirstMove)>> {
    let mut statement = store.prepare_cached(
        "SELECT boot, kind, forward, distance, speed, EXISTS (SELECT 1 FROM kinds AS later
            WHERE later.device = kinds.device AND later.axis = kinds.axis AND later.boot = kinds.boot
            AND later.instead_of = kinds.kind AND later.at_us < ?3)
        FROM kinds WHERE device = ?1 AND axis = ?2 AND at_us < ?3 ORDER BY boot, kind",
    )?;
    let counts = known.axis.counts_per_unit;
    let rows = statement.query_map(params![known.device, known.axis.axis, until], |row| {
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
