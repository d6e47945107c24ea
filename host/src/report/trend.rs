//! In: the trend of a kind. Out: one JSON line or CSV row for other tools, a table for people.
//!
//! The field names are a contract: other tools read them. Add at the end, never rename.

pub mod csv;
pub mod table;

use std::io;

use serde::Serialize;

use crate::analysis::trend::Trend;

/// Seconds per hour.
const HOUR: f64 = 3600.0;

/// The trend of one kind as other tools read it. Times on the clock of the store, in seconds.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TrendLine {
    /// Name of the axis.
    pub axis: String,
    /// Name of the kind.
    pub kind: String,
    /// `median` or `p95` of the settling times of an interval.
    pub measure: String,
    /// Start of the first interval. Unit: s
    pub from_s: f64,
    /// End of the last interval. Unit: s
    pub to_s: f64,
    /// Intervals used.
    pub intervals: usize,
    /// Intervals not used: too few moves, no numbers, or a restart within.
    pub left_out: usize,
    /// Intervals that are warm-up.
    pub warm_up_intervals: usize,
    /// Probability that the last warm-up lies as far from the earlier ones by chance.
    pub warm_up_p: Option<f64>,
    /// Changes in hot running: (time, median before, median after), a median `null` if it is "not settled". Unit: s
    pub change_points: Vec<(f64, f64, f64)>,
    /// Start of the stretch the trend was fitted to. Unit: s
    pub fitted_from_s: Option<f64>,
    /// Value of the line at `to_s`; none if it is "not settled", see `settles_now`. Unit: s
    pub level_s: Option<f64>,
    /// Slope. Unit: s per hour
    pub slope_s_per_h: Option<f64>,
    /// Lower end of its confidence interval; none if open.
    pub slope_low_s_per_h: Option<f64>,
    /// Upper end; none if open.
    pub slope_high_s_per_h: Option<f64>,
    /// Mann–Kendall: two-sided probability without a trend, autocorrelation allowed for.
    pub mann_kendall_p: Option<f64>,
    /// By how much autocorrelation widened variances.
    pub variance_factor: Option<f64>,
    /// Settling time that must not be reached. Unit: s
    pub limit_s: Option<f64>,
    /// `unknown`, `reached`, `between` or `not-before`; empty without a limit.
    pub time_to_limit: String,
    /// Earliest instant at which the figure reaches the limit, from `to_s`. Unit: s
    pub limit_earliest_s: Option<f64>,
    /// Latest instant, from `to_s`; none if it may never. Unit: s
    pub limit_latest_s: Option<f64>,
    /// Settled moves.
    pub moves: u64,
    /// Seconds lost against zero.
    pub lost_s: f64,
    /// Seconds lost against the baseline, negative for a gain.
    pub lost_against_baseline_s: Option<f64>,
    /// Parts lost against zero.
    pub lost_parts: Option<f64>,
    /// Parts lost against the baseline.
    pub lost_against_baseline_parts: Option<f64>,
    /// Cost per shift: (name, moves, seconds against zero, seconds against the baseline).
    pub shifts: Vec<(String, u64, f64, Option<f64>)>,
    /// Whether the figure at `to_s` is a settling time; none without a line.
    pub settles_now: Option<bool>,
    /// Of the intervals used, those whose figure is "not settled".
    pub not_settled_intervals: usize,
    /// Moves that did not settle.
    pub unsettled: u64,
    /// Share of them among all that did or did not.
    pub unsettled_share: Option<f64>,
    /// The same in hot running since the last restart: in its first quarter,
    pub unsettled_share_before: Option<f64>,
    /// and in its last.
    pub unsettled_share_now: Option<f64>,
    /// Mann–Kendall of the shares of its intervals, as `mann_kendall_p`.
    pub unsettled_p: Option<f64>,
    /// Intervals in which moves did not settle: (start in s, how many, of how many).
    pub unsettled_intervals: Vec<(f64, u64, u64)>,
    /// When the watch over these moves began anew: no slope spans a restart. Unit: s
    pub restarts: Vec<f64>,
    /// Settling time that costs are compared with. Unit: s
    pub baseline_s: Option<f64>,
    /// `asked`, `monitor` or `first interval`; empty without one.
    pub baseline_from: String,
    /// Seconds that warm-ups lost against the baseline; they are in the others.
    pub warm_up_lost_s: Option<f64>,
    /// Instant by which the limit is as likely reached as not, from `to_s`; none if that is not as far as can be seen. Unit: s
    pub limit_likely_s: Option<f64>,
    /// As far as can be seen, from `to_s`. Unit: s
    pub limit_seen_s: Option<f64>,
    /// From what it was extrapolated: `curves` or `settling times`.
    pub limit_by: String,
    /// Figure of the last interval; none if it is "not settled". Unit: s
    pub last_s: Option<f64>,
    /// Whether the monitor found a drift to slower that still stands; none if unknown.
    pub drifts_up: Option<bool>,
}

impl TrendLine {
    /// The line of a trend.
    pub fn new(axis: &str, kind: &str, trend: &Trend, limit_s: Option<f64>) -> TrendLine {
        let fit = trend.fit.as_ref();
        let slope = |figure: f64| Some(figure * HOUR).filter(|slope| slope.is_finite());
        let limit = trend.time_to_limit.filter(|limit| limit.seen_s > 0.0);
        TrendLine {
            axis: axis.to_owned(),
            kind: kind.to_owned(),
            measure: trend.measure.word().to_owned(),
            from_s: trend.span_s.0,
            to_s: trend.span_s.1,
            intervals: trend.intervals,
            left_out: trend.omitted,
            warm_up_intervals: trend.warm_ups.iter().map(|warm_up| warm_up.intervals).sum(),
            warm_up_p: trend.warm_ups.last().and_then(|warm_up| warm_up.p),
            change_points: trend.changes.iter().map(|at| (at.time_s, at.before_s, at.after_s)).collect(),
            fitted_from_s: fit.map(|fit| fit.from_s),
            level_s: fit.map(|fit| fit.level_s).filter(|level| level.is_finite()),
            slope_s_per_h: fit.and_then(|fit| slope(fit.slope.slope)),
            slope_low_s_per_h: fit.and_then(|fit| slope(fit.slope.low)),
            slope_high_s_per_h: fit.and_then(|fit| slope(fit.slope.high)),
            mann_kendall_p: fit.and_then(|fit| fit.test).map(|test| test.p),
            variance_factor: fit.map(|fit| fit.variance_factor),
            settles_now: fit.map(|fit| fit.level_s.is_finite()),
            limit_s,
            time_to_limit: trend.time_to_limit.map_or("", |time| time.word()).to_owned(),
            limit_earliest_s: limit.map(|limit| limit.earliest_s),
            limit_latest_s: limit.and_then(|limit| limit.latest_s),
            limit_likely_s: limit.and_then(|limit| limit.likely_s),
            limit_seen_s: limit.map(|limit| limit.seen_s),
            limit_by: limit
                .map_or("", |_| if trend.by_curves { "curves" } else { "settling times" })
                .to_owned(),
            last_s: Some(trend.last_s).filter(|last| last.is_finite()),
            restarts: trend.restarts.clone(),
            ..TrendLine::lost(trend)
        }
    }

    /// What it costs, and the moves that did not settle; the other fields are empty.
    fn lost(trend: &Trend) -> TrendLine {
        let (cost, unsettled) = (&trend.cost, trend.unsettled.as_ref());
        let all = cost.moves + cost.unsettled;
        let shifts = trend.shifts.iter();
        let shifts = shifts.map(|(shift, cost)| {
            (shift.name.clone(), cost.moves, cost.seconds, cost.seconds_against_baseline)
        });
        TrendLine {
            moves: cost.moves,
            lost_s: cost.seconds,
            lost_against_baseline_s: cost.seconds_against_baseline,
            lost_parts: cost.parts,
            lost_against_baseline_parts: cost.parts_against_baseline,
            shifts: shifts.collect(),
            not_settled_intervals: trend.not_settled,
            unsettled: cost.unsettled,
            unsettled_share: (all > 0).then(|| cost.unsettled as f64 / all as f64),
            unsettled_share_before: unsettled.map(|shares| shares.before),
            unsettled_share_now: unsettled.map(|shares| shares.now),
            unsettled_p: unsettled.and_then(|shares| shares.test).map(|test| test.p),
            unsettled_intervals: trend.unsettled_intervals.clone(),
            baseline_s: trend.baseline.map(|baseline| baseline.settling_s),
            baseline_from: trend.baseline.map_or("", |baseline| baseline.source.words()).to_owned(),
            warm_up_lost_s: trend.warm_up_cost.seconds_against_baseline,
            ..TrendLine::default()
        }
    }
}

/// One JSON line, with its line break.
pub fn json(line: &TrendLine) -> io::Result<String> {
    Ok(serde_json::to_string(line)? + "\n")
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::analysis::cost::{Baseline, Cycle, Shift, Source};
    use crate::analysis::interval_stats::IntervalStats;
    use crate::analysis::trend::{TrendOptions, trend};
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    /// Two hours of standing level at 50 ms, then two that rise by 5 ms each.
    pub(crate) fn line() -> TrendLine {
        let mut chance = Pcg32::new(5, 5);
        let mut even = || f64::from(chance.next_u32()) / f64::from(u32::MAX);
        let points: Vec<IntervalStats> = (0..48)
            .map(|i| {
                let rise = 0.005 * (f64::from(i) - 23.5).max(0.0) / 12.0;
                let median_s = 0.05 + rise + 0.0001 * (even() - 0.5);
                IntervalStats {
                    time_s: 300.0 * f64::from(i),
                    moves: 100,
                    unsettled: u64::try_from(i / 12).unwrap_or(0),
                    median_s,
                    p95_s: 0.06,
                    mean_s: Some(median_s),
                }
            })
            .collect();
        let options = TrendOptions {
            limit_s: Some(0.068),
            baseline: Some(Baseline { settling_s: 0.05, source: Source::Option }),
            cycle: Some(Cycle { seconds: 3.0, moves: 1.0 }),
            shifts: vec![Shift { name: "early; 1".to_owned(), from_s: 0.0, to_s: 7200.0 }],
            ..TrendOptions::new(300.0)
        };
        TrendLine::new("tray shuttle", "out, long", &trend(&points, &options).unwrap(), options.limit_s)
    }

    #[test]
    fn the_line_holds_the_trend() {
        let line = line();
        assert!((line.slope_s_per_h.unwrap() - 0.005).abs() < 2e-4, "{line:?}");
        assert!((line.level_s.unwrap() - 0.06).abs() < 3e-4 && line.change_points.len() == 1, "{line:?}");
        // 8 ms more at 5 ms/h.
        let (earliest, likely) = (line.limit_earliest_s.unwrap(), line.limit_likely_s.unwrap());
        assert!(earliest > 2000.0 && earliest < likely && (likely - 5760.0).abs() < 600.0, "{line:?}");
        assert!(line.time_to_limit == "not-before" && line.limit_by == "settling times", "{line:?}");
        assert!((line.lost_against_baseline_s.unwrap() - 12.0).abs() < 0.3 && line.moves == 4800, "{line:?}");
        let text = json(&line).unwrap();
        assert!(
            text.starts_with("{\"axis\":\"tray shuttle\",\"kind\":\"out, long\",\"measure\":\"median\""),
            "{text}"
        );
        assert!(text.contains(r#""settles_now":true,"not_settled_intervals":0,"unsettled":72,"#), "{text}");
        assert!(
            text.contains(r#""baseline_s":0.05,"baseline_from":"asked","warm_up_lost_s":0.0,"#),
            "{text}"
        );
    }
}
