//! In: statistics of hot intervals of one kind. Out: the share of unsettled moves, and whether it rises or falls.

use super::fit::widening;
use super::interval_stats::IntervalStats;
use super::mann_kendall::{MannKendall, mann_kendall};
use super::theil_sen::median_slope;

/// Unsettled moves as shares of all settled and unsettled moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unsettled {
    /// Share over the first quarter of the intervals.
    pub before: f64,
    /// Share over their last quarter.
    pub now: f64,
    /// Mann–Kendall test of the shares of the intervals; `None` if all are equal or too few.
    pub test: Option<MannKendall>,
}

/// The shares of intervals in time order; `None` without moves.
pub fn unsettled(intervals: &[IntervalStats]) -> Option<Unsettled> {
    let quarter = intervals.len().div_ceil(4);
    let before = pooled(intervals.get(..quarter)?)?;
    let now = pooled(intervals.get(intervals.len() - quarter..)?)?;
    let (time, shares): (Vec<f64>, Vec<f64>) =
        intervals.iter().filter_map(|interval| Some((interval.time_s, interval.unsettled_share()?))).unzip();
    let slope = median_slope(&time, &shares).unwrap_or(0.0);
    let first = time.first().copied().unwrap_or(0.0);
    let flat: Vec<f64> =
        time.iter().zip(&shares).map(|(time, share)| share - slope * (time - first)).collect();
    let mean = flat.iter().sum::<f64>() / flat.len().max(1) as f64;
    let residuals: Vec<f64> = flat.iter().map(|share| share - mean).collect();
    Some(Unsettled { before, now, test: mann_kendall(&shares, widening(&residuals)) })
}

/// Share of unsettled moves over all intervals together.
fn pooled(intervals: &[IntervalStats]) -> Option<f64> {
    let moves: u64 = intervals.iter().map(|interval| interval.moves).sum();
    let unsettled: u64 = intervals.iter().map(|interval| interval.unsettled).sum();
    let all = moves + unsettled;
    (all > 0).then(|| unsettled as f64 / all as f64)
}

/// Start, unsettled moves and all moves of each interval that has unsettled moves.
pub(super) fn unsettled_intervals(intervals: &[IntervalStats]) -> Vec<(f64, u64, u64)> {
    let affected = intervals.iter().filter(|interval| interval.unsettled > 0);
    affected.map(|it| (it.time_s, it.unsettled, it.moves + it.unsettled)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_and_their_trend() {
        let check = |of: &dyn Fn(u64) -> u64, before: f64, now: f64, direction: i64| {
            let intervals: Vec<IntervalStats> = (0..40)
                .map(|i| {
                    let (unsettled, time_s) = (of(i), 300.0 * i as f64);
                    let moves = 20 - unsettled;
                    IntervalStats { time_s, moves, unsettled, median_s: 0.1, p95_s: 0.1, mean_s: None }
                })
                .collect();
            let found = unsettled(&intervals).expect("moves");
            assert!((found.before - before).abs() < 1e-9 && (found.now - now).abs() < 1e-9, "{found:?}");
            let sign = found.test.filter(|test| test.p < 0.01).map_or(0, |test| test.statistic.signum());
            assert_eq!(sign, direction, "{found:?}");
        };
        check(&|_| 0, 0.0, 0.0, 0);
        check(&|i| i % 2, 0.025, 0.025, 0);
        check(&|i| i / 4, 0.04, 0.41, 1);
        check(&|i| 10 - i / 4, 0.46, 0.09, -1);
        assert_eq!(unsettled(&[]), None);
    }
}
