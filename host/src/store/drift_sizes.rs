//! In: a kind of moves and the time of its drift. Out: how far its settling lay from the baseline, the most and last.
//!
//! A monitor reports a drift when it begins and when it ends, with no sizes between. The summaries have them.

use rusqlite::{Row, params};

use super::axes::KnownAxis;
use super::database::Store;
use super::summary::SPANS;

/// Fewest settled and unsettled moves of an interval that counts, as in a trend.
const FEWEST: i64 = 5;

/// The moves of one interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Beginning of the interval. Unit: µs since 1970, UTC
    pub at: i64,
    /// Mean settling time of those that settled; none if at least half did not. Unit: s
    pub mean: Option<f64>,
}

/// The intervals of a drift, in order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sizes(Vec<Size>);

impl Sizes {
    /// The last interval.
    pub fn last(&self) -> Option<Size> {
        self.0.last().copied()
    }

    /// The slowest interval, or the fastest; one that mostly does not settle is the slowest of all.
    pub fn most(&self, upwards: bool) -> Option<Size> {
        let height = |size: &Size| size.mean.unwrap_or(f64::INFINITY) * if upwards { 1.0 } else { -1.0 };
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
            "SELECT at_us, settled, unsettled, sum_ns FROM summaries
            WHERE device = ?1 AND axis = ?2 AND span = ?3 AND kind = ?4 AND at_us >= ?5 AND at_us < ?6
            AND settled + unsettled >= ?7 ORDER BY at_us",
        )?;
        for span in SPANS {
            let values = params![known.device, known.axis.axis, span, id, since, until, FEWEST];
            let sizes = statement.query_map(values, size)?.collect::<rusqlite::Result<Vec<Size>>>()?;
            if !sizes.is_empty() {
                return Ok(Sizes(sizes));
            }
        }
        Ok(Sizes::default())
    }
}

fn size(row: &Row) -> rusqlite::Result<Size> {
    let (settled, unsettled): (i64, i64) = (row.get(1)?, row.get(2)?);
    let mean = row.get::<_, i64>(3)? as f64 / settled.max(1) as f64 * 1e-9;
    Ok(Size { at: row.get(0)?, mean: (settled > unsettled).then_some(mean) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_is_the_slowest_or_the_fastest() {
        let sizes = |means: &[Option<f64>]| {
            Sizes((0..).zip(means).map(|(at, mean)| Size { at, mean: *mean }).collect())
        };
        let all = sizes(&[Some(0.05), Some(0.07), Some(0.04), Some(0.06)]);
        assert_eq!(
            [all.most(true), all.most(false), all.last()].map(|size| size.map(|size| size.at)),
            [Some(1), Some(2), Some(3)]
        );
        assert_eq!(sizes(&[Some(0.05), None, Some(0.07)]).most(true), Some(Size { at: 1, mean: None }));
        assert_eq!((Sizes::default().most(true), Sizes::default().last()), (None, None));
    }
}
