//! In: the trend of a kind. Out: one JSON line or CSV row for other tools, a table for people.
//!
//! The field names are a contract: other tools read them. Add at the end, never rename.

pub mod csv;
pub mod cycle;
pub mod table;

use std::io;

use serde::Serialize;

use crate::analysis::interval_stats::Levels;
use crate::analysis::trend::Trend;

/// Seconds per hour.
const HOUR: f64 = 3600.0;

/// Smallest probability that is stated; a smaller one is given as this. Normal approximations and independent moves, on which
/// they rest, are not known to more.
const LEAST_P: f64 = 0.001;

/// The trend of one kind as other tools read it. Times on the clock of the store, in seconds.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TrendLine {
    /// Name of the axis.
    pub axis: String,
    /// Name of the kind.
    pub kind: String,
    /// The statistic of an interval that is followed: `median`, `p95`, or `mean` where no median exists.
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
    /// Mann–Kendall: two-sided probability without a trend, autocorrelation allowed for; 0.001: that or less.
    pub mann_kendall_p: Option<f64>,
    /// By how much autocorrelation widened variances.
    pub variance_factor: Option<f64>,
    /// Settling time that must not be reached. Unit: s
    pub limit_s: Option<f64>,
    /// `unknown`, `reached`, `between` or `not-before`; empty without a limit. `reached` also if the last interval is beyond it.
    pub time_to_limit: String,
    /// Earliest instant at which the figure reaches the limit, from `to_s`. Unit: s
    pub limit_earliest_s: Option<f64>,
    /// Latest instant, from `to_s`; none if it may never. Unit: s
    pub limit_latest_s: Option<f64>,
    /// Settled moves.
    pub moves: u64,
    /// Seconds lost against zero; see `lost_at_least`.
    pub lost_s: f64,
    /// Seconds lost against the baseline, negative for a gain; see `lost_at_least`.
    pub lost_against_baseline_s: Option<f64>,
    /// Parts lost against zero; only on the axis that sets the cycle.
    pub lost_parts: Option<f64>,
    /// Parts lost against the baseline; only on the axis that sets the cycle.
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
    /// The same in the baseline, or in hot running since the last restart before its last intervals,
    pub unsettled_share_before: Option<f64>,
    /// and in these, at most eight.
    pub unsettled_share_now: Option<f64>,
    /// Mann–Kendall of the shares of its intervals, as `mann_kendall_p`.
    pub unsettled_p: Option<f64>,
    /// Intervals in which moves did not settle: (start in s, how many, of how many).
    pub unsettled_intervals: Vec<(f64, u64, u64)>,
    /// When the watch over these moves began anew: no slope spans a restart. Unit: s
    pub restarts: Vec<f64>,
    /// Settling time that costs are compared with: the mean, if it is known. Unit: s
    pub baseline_s: Option<f64>,
    /// `asked`, `monitor` or `first interval`; empty without one.
    pub baseline_from: String,
    /// Seconds that warm-ups lost against the baseline; they are in the others. None if it is not known what is warm-up.
    pub warm_up_lost_s: Option<f64>,
    /// Instant by which the limit is as likely reached as not, from `to_s`; none if that is past, or not as far as can be seen.
    /// Unit: s
    pub limit_likely_s: Option<f64>,
    /// As far as can be seen, from `to_s`. Unit: s
    pub limit_seen_s: Option<f64>,
    /// From what it was extrapolated: `curves` or `settling times`.
    pub limit_by: String,
    /// Figure of the last interval; none if it is "not settled". Unit: s
    pub last_s: Option<f64>,
    /// Whether the monitor found a drift to slower that still stands; none if unknown.
    pub drifts_up: Option<bool>,
    /// The first change that no later one has undone. Unit: s
    pub since_s: Option<f64>,
    /// The first of these that made it slower. Unit: s
    pub slower_since_s: Option<f64>,
    /// Of all moves: mean of the settled. Unit: s
    pub mean_s: Option<f64>,
    /// Median; none if it is "not settled" or does not exist. Unit: s
    pub median_s: Option<f64>,
    /// 95 % quantile; none if it is "not settled". Unit: s
    pub p95_s: Option<f64>,
    /// Why medians are not stated.
    pub median_reason: String,
    /// Of the last interval, as above. Unit: s
    pub last_mean_s: Option<f64>,
    /// Unit: s
    pub last_median_s: Option<f64>,
    /// Unit: s
    pub last_p95_s: Option<f64>,
    /// Of the baseline, as above. Unit: s
    pub baseline_mean_s: Option<f64>,
    /// Unit: s
    pub baseline_median_s: Option<f64>,
    /// Unit: s
    pub baseline_p95_s: Option<f64>,
    /// Why there is no slope.
    pub slope_reason: String,
    /// Why no likely instant is stated.
    pub limit_reason: String,
    /// Fisher's exact test of the shares of unsettled moves before and now; 0.001: that or less.
    pub unsettled_exact_p: Option<f64>,
    /// Whether the share has risen: beyond chance, in several intervals, and by enough to matter.
    pub unsettled_rose: Option<bool>,
    /// Moves that were inside for less than the window time.
    pub interrupted: u64,
    /// Whether the seconds lost are a lower bound, because moves were unsettled or interrupted.
    pub lost_at_least: bool,
    /// Of `lost_s`: time from command end to next command of the unsettled and the interrupted moves. Unit: s
    pub lost_rests_s: f64,
    /// Length of the intervals: the wanted one, or longer if no interval of that had enough moves. Unit: s
    pub interval_s: f64,
    /// When the change came of the drift that stands, as `alarms` has it; none without one, or if it is not known. Unit: s
    pub drift_since_s: Option<f64>,
    /// What known causes explain of the settling times of the axis, in words.
    pub explained: Vec<String>,
    /// Start of the intervals at the end of which each is beyond the limit; none if the last one is not. Unit: s
    pub beyond_since_s: Option<f64>,
}

impl TrendLine {
    /// The line of a trend.
    pub fn new(axis: &str, kind: &str, trend: &Trend, limit_s: Option<f64>) -> TrendLine {
        let fit = trend.fit.as_ref();
        // Settling times are whole nanoseconds: a slope that adds up to less is a difference of equal times.
        let span = trend.span_s.1 - trend.span_s.0;
        let rounded = |slope: f64| if (slope * span).abs() < 1e-9 { 0.0 } else { slope * HOUR };
        let slope = |figure: f64| Some(rounded(figure)).filter(|slope| slope.is_finite());
        TrendLine {
            axis: axis.to_owned(),
            kind: kind.to_owned(),
            measure: trend.measure.word().to_owned(),
            from_s: trend.span_s.0,
            to_s: trend.span_s.1,
            intervals: trend.intervals,
            left_out: trend.omitted,
            warm_up_intervals: trend.warm_ups.iter().filter(|it| it.is_known).map(|it| it.intervals).sum(),
            warm_up_p: trend.warm_ups.last().and_then(|warm_up| warm_up.p).map(stated),
            change_points: trend.changes.iter().map(|at| (at.time_s, at.before_s, at.after_s)).collect(),
            fitted_from_s: fit.map(|fit| fit.from_s),
            level_s: fit.map(|fit| fit.level_s).filter(|level| level.is_finite()),
            slope_s_per_h: fit.and_then(|fit| slope(fit.slope.slope)),
            slope_low_s_per_h: fit.and_then(|fit| slope(fit.slope.low)),
            slope_high_s_per_h: fit.and_then(|fit| slope(fit.slope.high)),
            mann_kendall_p: fit.and_then(|fit| fit.test).map(|test| stated(test.p)),
            variance_factor: fit.map(|fit| fit.variance_factor),
            settles_now: fit.map(|fit| fit.level_s.is_finite()),
            last_s: Some(trend.last_s).filter(|last| last.is_finite()),
            restarts: trend.restarts.clone(),
            since_s: trend.standing.first().map(|change| change.time_s),
            slower_since_s: trend.standing.iter().find(|it| it.after_s > it.before_s).map(|it| it.time_s),
            ..TrendLine::forecast(trend, limit_s)
        }
    }

    /// When the limit is reached, what it costs and why figures are missing; the other fields are empty.
    fn forecast(trend: &Trend, limit_s: Option<f64>) -> TrendLine {
        let limit = trend.time_to_limit.filter(|limit| limit.seen_s > 0.0);
        TrendLine {
            limit_s,
            beyond_since_s: trend.beyond_since_s,
            time_to_limit: trend.time_to_limit.map_or("", |time| time.word()).to_owned(),
            limit_earliest_s: limit.map(|limit| limit.earliest_s),
            limit_latest_s: limit.and_then(|limit| limit.latest_s),
            limit_likely_s: limit.and_then(|limit| limit.likely_s).filter(|likely| *likely > 0.0),
            limit_seen_s: limit.map(|limit| limit.seen_s),
            limit_by: limit
                .map_or("", |_| if trend.by_curves { "curves" } else { "settling times" })
                .to_owned(),
            ..TrendLine::reasons(trend, TrendLine::lost(trend))
        }
    }

    /// Adds why figures are missing.
    fn reasons(trend: &Trend, line: TrendLine) -> TrendLine {
        let slope_reason = match &trend.fit {
            None => "fewer than eight intervals since the last restart",
            Some(fit) if !fit.slope.slope.is_finite() => "most intervals are not settled",
            Some(_) => "",
        };
        let limit_reason = match &trend.time_to_limit {
            Some(limit) if limit.latest_s == Some(0.0) => "the limit is reached",
            Some(limit) if limit.seen_s == 0.0 => "too little history since the last restart",
            Some(limit) if limit.likely_s == Some(0.0) => "the limit may be reached already",
            Some(limit) if limit.likely_s.is_none() => "not likely within the time that can be seen",
            _ => "",
        };
        TrendLine { slope_reason: slope_reason.to_owned(), limit_reason: limit_reason.to_owned(), ..line }
    }

    /// Adds the levels of all moves; where a median does not exist, none is stated.
    pub fn with_levels(self, levels: Levels, median_is_empty: bool) -> TrendLine {
        let line =
            TrendLine { mean_s: levels.mean_s, median_s: levels.median_s, p95_s: levels.p95_s, ..self };
        if !median_is_empty {
            return line;
        }
        TrendLine {
            median_s: None,
            last_median_s: None,
            baseline_median_s: None,
            median_reason: "hardly any move settles near the median".to_owned(),
            ..line
        }
    }

    /// The level of the baseline that the followed statistic is compared with. Unit: s
    pub fn compared_s(&self) -> Option<f64> {
        match self.measure.as_str() {
            "mean" => self.baseline_mean_s,
            "p95" => self.baseline_p95_s,
            _ => self.baseline_median_s,
        }
    }

    /// What it costs, and the moves that did not settle; the other fields are empty.
    fn lost(trend: &Trend) -> TrendLine {
        let (cost, unsettled) = (&trend.cost, trend.unsettled.as_ref());
        let all = cost.moves + cost.unsettled;
        let baseline = trend.baseline.map(|baseline| baseline.levels).unwrap_or_default();
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
            unsettled_p: unsettled.and_then(|shares| shares.test).map(|test| stated(test.p)),
            unsettled_exact_p: unsettled.map(|shares| stated(shares.p)),
            unsettled_rose: unsettled.map(|shares| shares.has_risen),
            interrupted: cost.interrupted,
            lost_at_least: cost.is_lower_bound(),
            lost_rests_s: cost.rests,
            unsettled_intervals: trend.unsettled_intervals.clone(),
            baseline_s: trend.baseline.and_then(|baseline| baseline.reference_s()),
            baseline_from: trend.baseline.map_or("", |baseline| baseline.source.words()).to_owned(),
            warm_up_lost_s: trend.warm_up_cost.and_then(|cost| cost.seconds_against_baseline),
            last_mean_s: trend.last.mean_s,
            last_median_s: trend.last.median_s,
            last_p95_s: trend.last.p95_s,
            baseline_mean_s: baseline.mean_s,
            baseline_median_s: baseline.median_s,
            baseline_p95_s: baseline.p95_s,
            ..TrendLine::default()
        }
    }
}

/// A probability as it is stated.
fn stated(p: f64) -> f64 {
    p.max(LEAST_P)
}

/// One JSON line, with its line break.
pub fn json(line: &TrendLine) -> io::Result<String> {
    super::json::line(line)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::analysis::cost::{Baseline, Cycle, Shift};
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
                    ..IntervalStats::default()
                }
            })
            .collect();
        let options = TrendOptions {
            limit_s: Some(0.068),
            baselines: vec![Baseline::given(0.05)],
            cycle: Some(Cycle { seconds: 3.0, moves: 1.0 }),
            shifts: vec![Shift { name: "early; 1".to_owned(), from_s: 0.0, to_s: 7200.0 }],
            ..TrendOptions::new(300.0)
        };
        TrendLine::new("tray shuttle", "out, long", &trend(&points, &options).unwrap(), options.limit_s)
    }

    #[test]
    fn a_slope_of_equal_times_is_none() {
        // The steps of a sketch, whose differences are not quite 0.
        let times = [0.006_833, 0.006_833 + 1e-17, 0.006_970];
        let stats = |i: usize| {
            let median_s = if i.is_multiple_of(9) { times[2] } else { times[i % 2] };
            let time_s = 300.0 * i as f64;
            IntervalStats { time_s, moves: 9, median_s, p95_s: median_s, ..IntervalStats::default() }
        };
        let points: Vec<IntervalStats> = (0..60).map(stats).collect();
        let found = trend(&points, &TrendOptions::new(300.0)).unwrap();
        let line = TrendLine::new("axis", "kind", &found, None);
        let slopes = [line.slope_s_per_h, line.slope_low_s_per_h, line.slope_high_s_per_h];
        assert_eq!(slopes, [Some(0.0); 3], "{:?}", found.fit);
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
