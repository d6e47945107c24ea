//! In: statistics of hot intervals of one kind, and its baseline. Out: the share of unsettled moves, and whether it rose.

use super::change_point::SHORTEST;
use super::exact::fisher;
use super::fit::widening;
use super::interval_stats::IntervalStats;
use super::mann_kendall::{MannKendall, mann_kendall};
use super::theil_sen::median_slope;

/// A rise that chance makes more often is none.
const CHANCE: f64 = 0.01;
/// Fewest of the last intervals that must have unsettled moves: moves that fail in one burst are not independent.
const FEWEST_INTERVALS: usize = 3;
/// Smallest rise worth a sentence: a hundredth of all moves, or to twice the share. Ours.
const SMALLEST_RISE: f64 = 0.01;

/// Unsettled moves as shares of all settled and unsettled moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unsettled {
    /// Share in the baseline, if it counted them, else in the intervals before the last.
    pub before: f64,
    /// Share over the last intervals: eight, or half of fewer than sixteen.
    pub now: f64,
    /// Fisher's exact test of both shares; two-sided.
    pub p: f64,
    /// Whether the share has risen: beyond chance, in several of the last intervals, and by enough to matter.
    pub has_risen: bool,
    /// Mann–Kendall test of the shares of the intervals; `None` if all are equal or too few.
    pub test: Option<MannKendall>,
}

/// The shares of intervals in time order; `baseline` is its number of unsettled moves and of all. `None` without moves
/// before or now.
pub fn unsettled(intervals: &[IntervalStats], baseline: Option<(u64, u64)>) -> Option<Unsettled> {
    let last = SHORTEST.min(intervals.len().div_ceil(2));
    let (earlier, last) = intervals.split_at(intervals.len() - last);
    let (before, now) = (baseline.unwrap_or_else(|| pooled(earlier)), pooled(last));
    let p = fisher(now, before)?;
    let share = |(unsettled, all): (u64, u64)| unsettled as f64 / all as f64;
    let (share_before, share_now) = (share(before), share(now));
    let affected = last.iter().filter(|interval| interval.unsettled > 0).count();
    let matters = share_now - share_before >= SMALLEST_RISE.min(share_before);
    let has_risen = share_now > share_before && p < CHANCE && affected >= FEWEST_INTERVALS && matters;
    Some(Unsettled { before: share_before, now: share_now, p, has_risen, test: test(intervals) })
}

/// Whether the shares of the intervals rise or fall.
fn test(intervals: &[IntervalStats]) -> Option<MannKendall> {
    let (time, shares): (Vec<f64>, Vec<f64>) =
        intervals.iter().filter_map(|interval| Some((interval.time_s, interval.unsettled_share()?))).unzip();
    let slope = median_slope(&time, &shares).unwrap_or(0.0);
    let first = time.first().copied().unwrap_or(0.0);
    let flat: Vec<f64> =
        time.iter().zip(&shares).map(|(time, share)| share - slope * (time - first)).collect();
    let mean = flat.iter().sum::<f64>() / flat.len().max(1) as f64;
    let residuals: Vec<f64> = flat.iter().map(|share| share - mean).collect();
    mann_kendall(&shares, widening(&residuals))
}

/// Unsettled moves and all settled and unsettled moves of some intervals.
fn pooled(intervals: &[IntervalStats]) -> (u64, u64) {
    let unsettled: u64 = intervals.iter().map(|interval| interval.unsettled).sum();
    (unsettled, unsettled + intervals.iter().map(|interval| interval.moves).sum::<u64>())
}

/// Start, unsettled moves and all moves of each interval that has unsettled moves.
pub(super) fn unsettled_intervals(intervals: &[IntervalStats]) -> Vec<(f64, u64, u64)> {
    let affected = intervals.iter().filter(|interval| interval.unsettled > 0);
    affected.map(|it| (it.time_s, it.unsettled, it.moves + it.unsettled)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Forty intervals of twenty moves, of which `of` do not settle.
    fn intervals(of: &dyn Fn(u64) -> u64) -> Vec<IntervalStats> {
        let interval = |i: u64| {
            let (unsettled, time_s) = (of(i), 300.0 * i as f64);
            let moves = 20 - unsettled;
            IntervalStats { time_s, moves, unsettled, median_s: 0.1, p95_s: 0.1, ..IntervalStats::default() }
        };
        (0..40).map(interval).collect()
    }

    #[test]
    fn shares_and_their_trend() {
        let check = |of: &dyn Fn(u64) -> u64, before: f64, now: f64, direction: i64| {
            let found = unsettled(&intervals(of), None).expect("moves");
            assert!((found.before - before).abs() < 1e-9 && (found.now - now).abs() < 1e-9, "{found:?}");
            let sign = found.test.filter(|test| test.p < 0.01).map_or(0, |test| test.statistic.signum());
            assert_eq!(sign, direction, "{found:?}");
        };
        check(&|_| 0, 0.0, 0.0, 0);
        check(&|i| i % 2, 0.025, 0.025, 0);
        check(&|i| i / 4, 0.175, 0.425, 1);
        check(&|i| 10 - i / 4, 0.325, 0.075, -1);
        assert_eq!(unsettled(&[], None), None);
    }

    #[test]
    fn a_rise_is_one_beyond_chance_in_several_intervals() {
        let check = |name: &str, of: &dyn Fn(u64) -> u64, baseline, expected: bool| {
            let found = unsettled(&intervals(of), baseline).expect("moves");
            assert_eq!(found.has_risen, expected, "{name}: {found:?}");
        };
        check("one in forty throughout", &|i| i % 2, None, false);
        check("none, then one in twenty", &|i| u64::from(i >= 32), None, true);
        check("none, then eight at once", &|i| if i == 35 { 8 } else { 0 }, None, false);
        check("none, then two", &|i| u64::from(i == 33 || i == 37), None, false);
        check("one in ten, then none", &|i| if i < 32 { 2 } else { 0 }, None, false);
        // It rose long ago; only the baseline knows.
        check("one in ten throughout", &|_| 2, None, false);
        check("one in ten, none in the baseline", &|_| 2, Some((0, 500)), true);
        check("one in ten, as in the baseline", &|_| 2, Some((50, 500)), false);
    }

    #[test]
    fn a_rise_too_small_to_matter_is_none() {
        let of = |unsettled: u64, i: u64| IntervalStats {
            time_s: 300.0 * i as f64,
            moves: 1_000_000,
            unsettled,
            ..IntervalStats::default()
        };
        let rise = |after: u64| {
            let all: Vec<IntervalStats> = (0..40).map(|i| of(if i < 32 { 1000 } else { after }, i)).collect();
            unsettled(&all, None).expect("moves")
        };
        let (small, twice) = (rise(1500), rise(2500));
        assert!(small.p < 1e-6 && !small.has_risen && twice.has_risen, "{small:?} {twice:?}");
    }
}
