//! In: summaries of one kind. Out: the statistics of each interval, the levels of all moves together, and whether a median
//! exists.

use stillpoint_core::Outcome;

use super::sketch::{Bins, rank};
use super::summary::Summary;
use crate::analysis::density;
use crate::analysis::interval_stats::{IntervalStats, Levels};

/// Too few moves to find a gap in their distribution.
const FEWEST: u64 = 50;
/// The median does not exist if it lies in a gap in this share of the stretches of a series. In fewer, a change of level
/// within a stretch may have made the gap.
const SHARE: f64 = 0.5;

/// Unit: s from ns
fn seconds(nanoseconds: i64) -> f64 {
    nanoseconds as f64 / 1e9
}

fn whole(count: i64) -> u64 {
    u64::try_from(count).unwrap_or(0)
}

/// Settled and unsettled moves.
fn judged(summary: &Summary) -> u64 {
    summary.sketch.count() + whole(summary.count(Outcome::Unsettled))
}

/// A quantile of all settled and unsettled moves by rank; unsettled moves rank behind all settled ones. NaN without such
/// moves, +∞: not settled. Unit: s
fn quantile(bins: &Bins, summary: &Summary, share: f64) -> f64 {
    let value = |rank| summary.sketch.ranked(bins, rank).map_or(f64::INFINITY, seconds);
    rank(share, judged(summary)).map_or(f64::NAN, value)
}

/// Unit: s
fn mean(summary: &Summary) -> Option<f64> {
    let moves = summary.sketch.count();
    (moves > 0).then(|| seconds(summary.sum) / moves as f64)
}

/// The statistics of an interval; medians are NaN if none of its moves is settled or unsettled.
pub fn interval_stats(bins: &Bins, summary: &Summary) -> IntervalStats {
    IntervalStats {
        time_s: summary.at as f64 * 1e-6,
        moves: summary.sketch.count(),
        unsettled: whole(summary.count(Outcome::Unsettled)),
        median_s: quantile(bins, summary, 0.5),
        p95_s: quantile(bins, summary, 0.95),
        mean_s: mean(summary),
        interrupted: whole(summary.count(Outcome::Interrupted)),
        rests_s: summary.rests().map(seconds),
    }
}

/// All moves of a kind together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Overall {
    /// Of all moves; a median only where moves settle near it.
    pub levels: Levels,
    /// Whether the median of an interval lies where hardly any move settles, so that it describes nothing.
    pub median_is_empty: bool,
}

impl Overall {
    /// Of the summaries of a kind, in order.
    pub fn of(bins: &Bins, summaries: &[Summary]) -> Overall {
        let mut all = Summary::default();
        summaries.iter().for_each(|summary| all.merge(summary));
        let median_is_empty = is_median_empty(bins, summaries);
        let finite = |share| Some(quantile(bins, &all, share)).filter(|value| value.is_finite());
        let median_s = finite(0.5).filter(|_| !median_is_empty && !is_empty(bins, &all, judged(&all)));
        Overall { levels: Levels { mean_s: mean(&all), median_s, p95_s: finite(0.95) }, median_is_empty }
    }
}

/// Whether hardly any move settles near the median of `moves` such moves.
fn is_empty(bins: &Bins, summary: &Summary, moves: u64) -> bool {
    // Beyond all settled moves the longest of them stands in: how much later the others are is not known.
    let longest = summary.range.map(|range| seconds(range.1));
    let known = |share| Some(quantile(bins, summary, share)).filter(|value| value.is_finite()).or(longest);
    judged(summary) >= FEWEST && density::is_empty(known, moves)
}

/// Whether the medians of single intervals lie in a gap. A series is judged in stretches of neighbours, so that a change
/// of level makes no gap of its own.
fn is_median_empty(bins: &Bins, summaries: &[Summary]) -> bool {
    let moves: u64 = summaries.iter().map(judged).sum();
    let typical = moves / summaries.iter().filter(|summary| judged(summary) > 0).count().max(1) as u64;
    let (mut stretches, mut empty) = (0_u32, 0_u32);
    let mut stretch = Summary::default();
    let mut judge = |stretch: &Summary| {
        stretches += 1;
        empty += u32::from(is_empty(bins, stretch, typical));
    };
    for summary in summaries {
        stretch.merge(summary);
        if judged(&stretch) >= density::enough(typical) {
            judge(&stretch);
            stretch = Summary::default();
        }
    }
    if moves < density::enough(typical) {
        judge(&stretch);
    }
    let may_be_a_step = empty == 1 && stretches > 1;
    empty > 0 && !may_be_a_step && f64::from(empty) >= SHARE * f64::from(stretches)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Intervals of fifty moves each, by interval and move. Unit: ms
    fn summaries(settling: impl Fn(i64, i64) -> i64) -> Vec<Summary> {
        let bins = Bins::default();
        let interval = |at: i64| {
            let mut summary = Summary::new(at * 300_000_000);
            for number in 0..50 {
                let settling = settling(at, number) * 1_000_000;
                summary.add(Outcome::Settled, Some((settling, bins.bin(settling))), 0);
            }
            summary
        };
        (0..40).map(interval).collect()
    }

    fn check(name: &str, settling: impl Fn(i64, i64) -> i64, median_is_empty: bool, has_median: bool) {
        let found = Overall::of(&Bins::default(), &summaries(settling));
        assert_eq!(
            (found.median_is_empty, found.levels.median_s.is_some()),
            (median_is_empty, has_median),
            "{name}"
        );
    }

    #[test]
    fn a_median_exists_where_moves_settle() {
        check("one hump", |_, number| 50 + number % 9, false, true);
        check("two humps", |_, number| if number % 2 == 0 { 20 } else { 60 } + number % 9, true, false);
        check("half at zero", |_, number| if number % 2 == 0 { 0 } else { 20 + number % 9 }, true, false);
        // Each half has a median, both together have none.
        check("a step", |at, number| if at < 20 { 20 } else { 60 } + number % 9, false, false);
    }

    #[test]
    fn moves_that_failed_rank_behind_or_are_counted_apart() {
        let bins = Bins::default();
        let mut summary = Summary::default();
        assert!(interval_stats(&bins, &summary).median_s.is_nan());
        summary.add(Outcome::Interrupted, None, 400_000_000);
        summary.add(Outcome::Settled, Some((20_000_000, bins.bin(20_000_000))), 1);
        for _ in 0..2 {
            summary.add(Outcome::Unsettled, None, 300_000_000);
        }
        let found = interval_stats(&bins, &summary);
        assert_eq!((found.moves, found.unsettled, found.interrupted), (1, 2, 1));
        assert_eq!((found.median_s, found.mean_s, found.rests_s), (f64::INFINITY, Some(0.02), Some(1.0)));
    }
}
