//! In: a time. Out: what was not seen in it: samples and frames that are missing, and stretches without a move.

use rusqlite::params;
use serde::Serialize;

use super::axes::KnownAxis;
use super::database::Store;
use super::kind::ALL;
use super::time;
use crate::error::Error;

/// Length of the intervals in which moves are looked for. Unit: s
const INTERVAL: i64 = 300;

/// Something that was not seen, as other tools read it. Add fields at the end, never rename.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HoleLine {
    /// Name of the axis; empty where a hole is of the whole monitor.
    pub axis: String,
    /// From when on, as RFC 3339, UTC, in JSON; of missing samples and frames when they were reported.
    /// Unit: µs since 1970, UTC
    #[serde(serialize_with = "time::serialize")]
    pub at: i64,
    /// `samples`, `frames`, or `no moves`.
    pub what: &'static str,
    /// Number of missing samples or frames; none for a stretch without moves.
    pub count: Option<i64>,
    /// How long there was no move, in whole intervals of 5 min; none for samples and frames. Unit: s
    pub length_s: Option<i64>,
    /// Cause, as the monitor reported it; empty if none.
    pub cause: String,
}

/// Reports of missing samples and frames; they come with the priority of moves.
const MISSING: &str = "
    SELECT coalesce(name, CASE WHEN gaps.axis IS NULL THEN '' ELSE 'axis ' || gaps.axis END), arrived_us,
        gaps.axis IS NOT NULL, count, cause
    FROM gaps
    JOIN frames ON frames.device = gaps.device AND frames.boot = gaps.boot AND frames.priority = 1
        AND frames.sequence = gaps.sequence
    LEFT JOIN axes ON axes.device = gaps.device AND axes.axis = gaps.axis
    WHERE arrived_us >= ?1 AND arrived_us < ?2
        AND (?3 IS NULL OR gaps.axis IS NULL OR name = ?3 OR CAST(gaps.axis AS TEXT) = ?3)
    ORDER BY arrived_us, gaps.sequence";

impl Store {
    /// All that was not seen within a time: missing samples and frames, then stretches without moves, axis by axis. `axis` is
    /// a name or a number, none for all. Unit: µs since 1970, UTC
    pub fn holes(&self, axis: Option<&str>, within: (i64, i64)) -> Result<Vec<HoleLine>, Error> {
        let mut holes = self.missing(axis, within).map_err(|error| self.fault(&error))?;
        let mut axes = self.find_axes(axis)?;
        axes.sort_by(|a, b| a.axis.name.cmp(&b.axis.name));
        // An axis of one name is one axis, whichever monitor watched it.
        for alike in axes.chunk_by(|a, b| a.axis.name == b.axis.name) {
            holes.extend(self.without_moves(alike, within)?);
        }
        Ok(holes)
    }

    fn missing(&self, axis: Option<&str>, (since, until): (i64, i64)) -> rusqlite::Result<Vec<HoleLine>> {
        let mut statement = self.connection.prepare_cached(MISSING)?;
        let rows = statement.query_map(params![since, until, axis], |row| {
            Ok(HoleLine {
                axis: row.get(0)?,
                at: row.get(1)?,
                what: if row.get(2)? { "samples" } else { "frames" },
                count: Some(row.get(3)?),
                length_s: None,
                cause: row.get(4)?,
            })
        })?;
        rows.collect()
    }

    /// Stretches of whole intervals without a move, between moves and up to the ends of the time where it has ends.
    fn without_moves(&self, alike: &[KnownAxis], (since, until): (i64, i64)) -> Result<Vec<HoleLine>, Error> {
        let span = INTERVAL * 1_000_000;
        let begin = since.saturating_sub(span);
        let mut starts: Vec<i64> = Vec::new();
        for known in alike {
            let summaries = self.summaries(known, (INTERVAL, ALL), (begin, until))?;
            starts.extend(summaries.iter().map(|summary| summary.at));
        }
        starts.sort_unstable();
        // Ends that are given stand for moves.
        if since > i64::MIN {
            starts.insert(0, since.div_euclid(span) * span - span);
        }
        if until < i64::MAX {
            starts.push((until - 1).div_euclid(span) * span + span);
        }
        let hole = |pair: &[i64]| {
            let from = (pair[0] + span).max(since);
            let length = (pair[1] - from) / span * INTERVAL;
            (length > 0).then(|| HoleLine {
                axis: alike.first().map_or(String::new(), |known| known.axis.name.clone()),
                at: from,
                what: "no moves",
                count: None,
                length_s: Some(length),
                cause: String::new(),
            })
        };
        Ok(starts.windows(2).filter_map(hole).collect())
    }
}
