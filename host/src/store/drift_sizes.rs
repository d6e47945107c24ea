//! In: a kind of moves and the time of its drift. Out: how far its settling lay from the baseline, the most and last.
//!
//! A monitor reports a drift when it begins and when it ends, with no sizes between. The summaries have them.

use rusqlite::{Row, params};

use super::axes::KnownAxis;
use super::database::Store;
use super::summary::SPANS;
use crate::report::story::Interval;

/// Fewest settled and unsettled moves of an interval that counts, as in a trend.
const FEWEST: i64 = 5;

/// The intervals of a drift, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sizes(Vec<Interval>);

impl Sizes {
    /// The last interval.
    pub fn last(&self) -> Option<Interval> {
        self.0.last().copied()
    }

    /// The slowest interval, or the fastest; one that mostly does not settle is the slowest of all.
    pub fn most(&self, upwards: bool) -> Option<Interval> {
        let height = |one: &Interval| one.mean_s.unwrap_or(f64::INFINITY) * if upwards { 1.0 } else { -1.0 };
        self.0.iter().copied().max_by(|a, b| height(a).total_cmp(&height(b)))
    }
}

impl Store {
    /// The intervals of a kind that begin within a time, of the shortest length of which one has enough moves; `id` is a
    /// [`super::kind::id`]. Unit: µs since 1970, UTC
    pub(super) fn drift_sizes(
        &self,
        known: &KnownAxis,
        id: i64,
        (since, until): (i64, i64),
    ) -> rusqlite::Result<Sizes> {
        let mut statement = self.connection.prepare_cached(
            "SELECT settled, unsettled, sum_ns FROM summaries
            WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us >= ?5 AND at_us < ?6
            AND settled + unsettled >= ?7 ORDER BY at_us",
        )?;
        for span in SPANS {
            let values = params![known.device, known.axis.axis, span, id, since, until, FEWEST];
            let sizes =
                statement.query_map(values, interval)?.collect::<rusqlite::Result<Vec<Interval>>>()?;
            if !sizes.is_empty() {
                return Ok(Sizes(sizes));
            }
        }
        Ok(Sizes::default())
    }
}

fn interval(row: &Row) -> rusqlite::Result<Interval> {
    let (settled, unsettled, sum_ns): (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
    let mean = sum_ns as f64 / settled.max(1) as f64 * 1e-9;
    let unsettled_share = unsettled as f64 / (settled + unsettled).max(1) as f64;
    Ok(Interval { mean_s: (settled > unsettled).then_some(mean), unsettled: unsettled_share })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_is_the_slowest_or_the_fastest() {
        let sizes = |means: &[Option<f64>]| {
            Sizes(means.iter().map(|mean_s| Interval { mean_s: *mean_s, unsettled: 0.0 }).collect())
        };
        let all = sizes(&[Some(0.05), Some(0.07), Some(0.04), Some(0.06)]);
        let found = [all.most(true), all.most(false), all.last()].map(|one| one.and_then(|one| one.mean_s));
        assert_eq!(found, [Some(0.07), Some(0.04), Some(0.06)]);
        let failing = sizes(&[Some(0.05), None, Some(0.07)]).most(true);
        assert_eq!(failing, Some(Interval::default()));
        assert_eq!((Sizes::default().most(true), Sizes::default().last()), (None, None));
    }
}
