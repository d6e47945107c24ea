//! In: interval statistics of one kind. Out: its trend, changes, warm-ups, time to limit and cost.

use super::cost::{Baseline, Cost, Cycle, Shift, cost, in_force};
use super::fit::{Fit, fitted};
use super::interval_stats::{IntervalStats, Levels, Measure};
use super::order::finite_values;
use super::quantile::median;
use super::residual_error::ResidualErrors;
use super::segment::{Segments, segments};
use super::standing::{Change, Standing, standing};
use super::time_to_limit::{TimeToLimit, time_to_limit};
use super::unsettled::{Unsettled, unsettled, unsettled_intervals};
use super::warm_up::{Rule, WarmUp, warm_ups};

/// Intervals beyond the limit, one after the other, that show it to be reached: one alone may be chance.
const REACHED: usize = 3;

/// Largest number of points in a fit; more intervals are grouped.
const MAX_POINTS: usize = 1000;

/// Options of a trend.
#[derive(Clone, Debug, PartialEq)]
pub struct TrendOptions {
    /// Which statistic.
    pub measure: Measure,
    /// Pauses and warm-ups; the length of an interval.
    pub rule: Rule,
    /// Intervals of fewer moves are omitted: their statistics are too uncertain.
    pub fewest_moves: u64,
    /// Confidence of every confidence interval, 0 … 1.
    pub confidence: f64,
    /// Settling time that must not be reached. Unit: s
    pub limit_s: Option<f64>,
    /// Residual errors at that limit, if there are settling curves: their forecast is better than that of settling times.
    pub residual_errors: Option<ResidualErrors>,
    /// Baselines in the order in which they came into force; without any, the first hot interval.
    pub baselines: Vec<Baseline>,
    /// Times at which settings or the machine changed: no slope spans them. Unit: s
    pub restarts: Vec<f64>,
    /// Nothing later is known: the last interval ends here at the latest. Unit: s
    pub until_s: f64,
    /// The machine cycle, for lost parts.
    pub cycle: Option<Cycle>,
    /// Shifts whose costs are reported separately.
    pub shifts: Vec<Shift>,
}

impl TrendOptions {
    /// Medians, 95 % confidence, at least five moves per interval, no limit, no baseline and no cycle.
    pub fn new(interval_s: f64) -> TrendOptions {
        TrendOptions {
            measure: Measure::Median,
            rule: Rule::new(interval_s),
            fewest_moves: 5,
            confidence: 0.95,
            limit_s: None,
            residual_errors: None,
            baselines: Vec::new(),
            restarts: Vec::new(),
            until_s: f64::INFINITY,
            cycle: None,
            shifts: Vec::new(),
        }
    }

    /// Whether an interval has enough moves, a statistic, and no restart within.
    fn accepts(&self, interval: &IntervalStats) -> bool {
        let within =
            |restart: &f64| *restart > interval.time_s && *restart < interval.time_s + self.rule.interval_s;
        interval.moves + interval.unsettled >= self.fewest_moves
            && interval.time_s.is_finite()
            && !self.measure.of(interval).is_nan()
            && !self.restarts.iter().any(within)
    }

    /// The intervals that can be used, in order.
    fn used(&self, intervals: &[IntervalStats]) -> Vec<IntervalStats> {
        let mut used: Vec<IntervalStats> = intervals.iter().filter(|it| self.accepts(it)).copied().collect();
        used.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        used
    }

    /// The warm-ups of intervals in order.
    fn warm_ups(&self, used: &[IntervalStats]) -> Vec<WarmUp> {
        let (time, values): (Vec<f64>, Vec<f64>) =
            used.iter().map(|interval| (interval.time_s, self.measure.of(interval))).unzip();
        warm_ups(&time, &values, &self.rule)
    }

    /// The given baselines, or the first hot interval.
    fn baselines_or_first(&self, hot: &[IntervalStats]) -> Vec<Baseline> {
        match self.baselines.as_slice() {
            [] => Baseline::of_first(hot).into_iter().collect(),
            given => given.to_vec(),
        }
    }

    /// The restarts from `from_s` up to `to_s`, in order. Unit: s
    fn restarts_within(&self, from_s: f64, to_s: f64) -> Vec<f64> {
        let mut restarts = self.restarts.clone();
        restarts.retain(|restart| (from_s..to_s).contains(restart));
        restarts.sort_by(f64::total_cmp);
        restarts
    }
}

/// The trend of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Which statistic.
    pub measure: Measure,
    /// Intervals used, hot or not.
    pub intervals: usize,
    /// Intervals omitted: too few moves, no statistic, or a restart within.
    pub omitted: usize,
    /// Intervals used whose statistic is "not settled".
    pub not_settled: usize,
    /// Statistic of the last interval used; +∞: not settled. Unit: s
    pub last_s: f64,
    /// Mean, median and 95 % quantile of the last interval used.
    pub last: Levels,
    /// Start of the first interval and end of the last. Unit: s
    pub span_s: (f64, f64),
    /// Hot intervals per point of the changes and the fit: 1 for up to a thousand intervals. A group's value is its median.
    pub group_size: usize,
    /// Warm-ups after pauses.
    pub warm_ups: Vec<WarmUp>,
    /// Restarts within the series, in order: nothing is compared across them. Unit: s
    pub restarts: Vec<f64>,
    /// Changes in hot running, in order.
    pub changes: Vec<Change>,
    /// Those since the last restart that no later one has undone; their levels are finite.
    pub standing: Vec<Change>,
    /// The trend since the last change; `None` with fewer than eight hot intervals since the last restart.
    pub fit: Option<Fit>,
    /// Unsettled moves in hot running since the last restart.
    pub unsettled: Option<Unsettled>,
    /// Intervals used that have unsettled moves: start in s, unsettled moves, all settled and unsettled moves.
    pub unsettled_intervals: Vec<(f64, u64, u64)>,
    /// From the end of the last interval, reached if that and the two before it are beyond the limit; `None` without a limit.
    pub time_to_limit: Option<TimeToLimit>,
    /// Whether settling curves gave it, rather than settling times alone.
    pub by_curves: bool,
    /// Start of the intervals used at the end, warm-up or not, of which each is beyond the limit; `None` without a limit, or if
    /// the last one is within it. Unit: s
    pub beyond_since_s: Option<f64>,
    /// The baseline in force at the end: a given one, else the first hot interval.
    pub baseline: Option<Baseline>,
    /// Cost over all intervals, warm-ups included, each against the baseline in force then.
    pub cost: Cost,
    /// Cost of the warm-ups alone; none if it is not known which intervals are warm-up.
    pub warm_up_cost: Option<Cost>,
    /// Cost of each shift, in the order of the options.
    pub shifts: Vec<(Shift, Cost)>,
}

/// The trend of intervals in any order; `None` if no interval can be used.
pub fn trend(intervals: &[IntervalStats], options: &TrendOptions) -> Option<Trend> {
    let used = options.used(intervals);
    let last = used.last()?;
    let end = (last.time_s + options.rule.interval_s).min(options.until_s);
    let warm_ups = options.warm_ups(&used);
    let (hot, cold) = hot_and_cold(&used, &warm_ups);
    let restarts = options.restarts_within(used[0].time_s, end);
    let group_size = hot.len().div_ceil(MAX_POINTS).max(1);
    let parts = split_at_restarts(&hot, &restarts);
    let Course { changes, standing, fit } = course_of_parts(&parts, group_size, end, options);
    let since = parts.last().copied().unwrap_or(&hot);
    let beyond_since_s = beyond_since(&used, options);
    let (time_to_limit, by_curves) = forecast(since, &warm_ups, end, options);
    let baselines = options.baselines_or_first(&hot);
    let cost_of = |of: &[IntervalStats], shift: Option<&Shift>| cost(of, shift, &baselines, options.cycle);
    Some(Trend {
        measure: options.measure,
        intervals: used.len(),
        omitted: intervals.len() - used.len(),
        not_settled: used.iter().filter(|it| options.measure.of(it) == f64::INFINITY).count(),
        last_s: options.measure.of(last),
        last: Levels::of_interval(last),
        span_s: (used.first()?.time_s, end),
        group_size,
        restarts,
        changes,
        standing,
        fit,
        unsettled: unsettled(since, in_force(&baselines, end).and_then(|baseline| baseline.unsettled)),
        unsettled_intervals: unsettled_intervals(&used),
        time_to_limit: time_to_limit.map(|time| reached_or(time, &used, beyond_since_s)),
        by_curves,
        beyond_since_s,
        baseline: in_force(&baselines, end).copied(),
        cost: cost_of(intervals, None),
        warm_up_cost: warm_ups.iter().all(|warm_up| warm_up.is_known).then(|| cost_of(&cold, None)),
        shifts: options.shifts.iter().map(|one| (one.clone(), cost_of(intervals, Some(one)))).collect(),
        warm_ups,
    })
}

/// Start of the intervals at the end of which each is beyond the limit; `None` if the last one is not. Unit: s
fn beyond_since(used: &[IntervalStats], options: &TrendOptions) -> Option<f64> {
    let limit = options.limit_s?;
    let beyond = used.iter().rev().take_while(|interval| options.measure.of(interval) > limit);
    beyond.last().map(|first| first.time_s)
}

/// The limit as reached, if enough intervals at the end are beyond it; else as the forecast has it.
fn reached_or(forecast: TimeToLimit, used: &[IntervalStats], beyond_since_s: Option<f64>) -> TimeToLimit {
    let first = used.iter().rev().nth(REACHED - 1).zip(beyond_since_s);
    if first.is_some_and(|(at, since)| since <= at.time_s) { forecast.reached() } else { forecast }
}

/// Hot intervals, and those of warm-ups.
fn hot_and_cold(used: &[IntervalStats], warm_ups: &[WarmUp]) -> (Vec<IntervalStats>, Vec<IntervalStats>) {
    let is_hot = |at: usize| !warm_ups.iter().any(|w| (w.first..w.first + w.intervals).contains(&at));
    let (hot, cold): (Vec<_>, Vec<_>) = used.iter().copied().enumerate().partition(|(at, _)| is_hot(*at));
    let intervals = |of: Vec<(usize, IntervalStats)>| of.into_iter().map(|(_, interval)| interval).collect();
    (intervals(hot), intervals(cold))
}

/// The parts before, between and after the restarts.
fn split_at_restarts<'p>(hot: &'p [IntervalStats], restarts: &[f64]) -> Vec<&'p [IntervalStats]> {
    let mut parts = Vec::new();
    let mut remaining = hot;
    for restart in restarts {
        let (before, after) =
            remaining.split_at(remaining.partition_point(|interval| interval.time_s < *restart));
        parts.push(before);
        remaining = after;
    }
    parts.push(remaining);
    parts
}

/// When the limit is reached, from hot running since the last restart, and whether curves gave it.
fn forecast(
    since: &[IntervalStats],
    warm_ups: &[WarmUp],
    end: f64,
    options: &TrendOptions,
) -> (Option<TimeToLimit>, bool) {
    let Some(limit) = options.limit_s else { return (None, false) };
    let measure = options.measure;
    let from = |errors: &ResidualErrors, share| time_to_limit(errors, share, end, options.confidence);
    let by_curves = options.residual_errors.as_ref().and_then(|errors| {
        let cold: Vec<_> = warm_ups.iter().map(|warm_up| warm_up.from_s..warm_up.to_s).collect();
        from(&errors.hot(since.first()?.time_s, &cold), measure.share()?)
    });
    let by_settling_times = || {
        let statistic = |interval: &IntervalStats| measure.of(interval);
        let errors = ResidualErrors::from_intervals(since, options.rule.interval_s, statistic, limit);
        from(&errors, measure.share().unwrap_or(0.5))
    };
    (Some(by_curves.or_else(by_settling_times).unwrap_or_default()), by_curves.is_some())
}

/// Changes of a series, and the fit to its last segment.
#[derive(Default)]
struct Course {
    changes: Vec<Change>,
    standing: Vec<Change>,
    fit: Option<Fit>,
}

/// Changes of all parts, and the fit to the last segment of the last part.
fn course_of_parts(
    parts: &[&[IntervalStats]],
    group_size: usize,
    end: f64,
    options: &TrendOptions,
) -> Course {
    let mut last = Course::default();
    for part in parts {
        let (time, values) = grouped(part, group_size, options.measure);
        let changes = std::mem::take(&mut last.changes);
        last = course(&time, &values, end, options);
        last.changes.splice(0..0, changes);
    }
    last
}

/// Mean start and median of each group of neighbours, so that a month has at most [`MAX_POINTS`] points.
fn grouped(intervals: &[IntervalStats], size: usize, measure: Measure) -> (Vec<f64>, Vec<f64>) {
    let value =
        |group: &[IntervalStats]| median(&group.iter().map(|it| measure.of(it)).collect::<Vec<f64>>());
    let time = |group: &[IntervalStats]| group.iter().map(|it| it.time_s).sum::<f64>() / group.len() as f64;
    intervals.chunks(size).filter_map(|group| Some((time(group), value(group)?))).unzip()
}

/// Changes of a hot series, and the fit to its last segment.
fn course(time: &[f64], values: &[f64], end: f64, options: &TrendOptions) -> Course {
    // Infinities become large finite values, so that the beginning of "not settled" is a change like any other.
    let finite = finite_values(values);
    let Some(segments) = segments(time, &finite) else { return Course::default() };
    let changes_of = |values: &[f64]| changes(time, values, &segments.changes);
    let left = standing(&changes_of(&finite));
    let how = (options.rule.interval_s, options.confidence);
    let stands = left.changes.last().is_some_and(|last| last.time_s == time[segments.start]);
    let fit = if segments.changes.is_empty() || stands {
        line_from(&segments, (time, values), end, how)
    } else {
        line_without_excursions(&left, (time, values), end, how)
    };
    Course { changes: changes_of(values), standing: left.changes, fit }
}

/// The line of the last segment; its confidence interval covers every possible start of it.
fn line_from(
    segments: &Segments,
    (time, values): (&[f64], &[f64]),
    end: f64,
    how: (f64, f64),
) -> Option<Fit> {
    let line = |start: usize| fitted(&time[start..], &values[start..], end, how);
    let lines: Vec<Fit> = segments.starts.iter().filter_map(|start| line(*start)).collect();
    line(segments.start).map(|mut fit| {
        fit.slope.low = lines.iter().fold(fit.slope.low, |low, line| low.min(line.slope.low));
        fit.slope.high = lines.iter().fold(fit.slope.high, |high, line| high.max(line.slope.high));
        fit
    })
}

/// Where the last change only undid an earlier one: the line since the last change that stands, without the stretches
/// between.
fn line_without_excursions(
    left: &Standing,
    (time, values): (&[f64], &[f64]),
    end: f64,
    how: (f64, f64),
) -> Option<Fit> {
    let from = left.changes.last().map_or(f64::NEG_INFINITY, |last| last.time_s);
    let counts = |at: f64| at >= from && !left.excursions.iter().any(|excursion| excursion.contains(&at));
    let points = time.iter().zip(values).filter(|(time, _)| counts(**time));
    let (time, values): (Vec<f64>, Vec<f64>) = points.unzip();
    fitted(&time, &values, end, how)
}

/// The changes at these points, each with the medians of the segments on either side.
fn changes(time: &[f64], values: &[f64], points: &[usize]) -> Vec<Change> {
    let bounds = [&[0], points, &[time.len()]].concat();
    let changes = bounds.windows(3).filter_map(|bounds| {
        let &[before, at, after] = bounds else { return None };
        let (before_s, after_s) = (median(&values[before..at])?, median(&values[at..after])?);
        Some(Change { time_s: time[at], before_s, after_s })
    });
    changes.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn intervals(count: usize) -> Vec<IntervalStats> {
        let noise = |i: usize| (i * i * 7919 % 89) as f64 / 89.0;
        (0..count)
            .rev()
            .map(|i| {
                let median_s = 0.05 + 1e-3 * noise(i);
                let p95_s = 0.06 + 1e-3 * noise(i + 1) + 1e-5 * i as f64;
                let time_s = 300.0 * i as f64;
                IntervalStats { time_s, moves: 20, median_s, p95_s, ..IntervalStats::default() }
            })
            .collect()
    }

    /// A fault of an hour and a half is repaired; then the axis is what it was before.
    #[test]
    fn a_change_that_was_undone_is_neither_since_nor_where_the_fit_begins() {
        let of = |level: &dyn Fn(usize) -> f64| {
            let mut intervals = intervals(96);
            intervals
                .iter_mut()
                .for_each(|interval| interval.median_s += level((interval.time_s / 300.0) as usize));
            trend(&intervals, &TrendOptions::new(300.0)).expect("intervals")
        };
        let fault = |i: usize| if (50..68).contains(&i) { 0.02 } else { 0.0 };
        let undone = of(&fault);
        assert!(undone.changes.len() == 2 && undone.standing.is_empty(), "{undone:?}");
        let fit = undone.fit.expect("a fit");
        assert_eq!((fit.from_s, fit.points), (0.0, 96 - 18), "{fit:?}");
        assert!(fit.slope.low < 0.0 && fit.slope.high > 0.0, "{fit:?}");
        // Worn before the fault, and after it.
        let worn = of(&|i| fault(i) + if i >= 20 { 0.01 } else { 0.0 });
        let since: Vec<f64> = worn.standing.iter().map(|change| change.time_s).collect();
        assert_eq!((since, worn.fit.expect("a fit").from_s), (vec![6000.0], 6000.0), "{worn:?}");
    }

    /// Too short for a hot level: what is observed is stated, what is not known is not called warm-up.
    #[test]
    fn an_axis_that_is_late_from_its_first_minutes_on_is_beyond_the_limit() {
        let of = |count, limit| {
            let options = TrendOptions { limit_s: Some(limit), ..TrendOptions::new(300.0) };
            trend(&intervals(count), &options).expect("intervals")
        };
        let late = of(4, 0.04);
        assert_eq!((late.beyond_since_s, late.warm_up_cost), (Some(0.0), None), "{late:?}");
        assert_eq!(of(4, 0.06).beyond_since_s, None);
        let mut failing = intervals(40);
        failing.iter_mut().filter(|it| it.time_s >= 9000.0).for_each(|it| it.median_s = f64::INFINITY);
        let options = TrendOptions { limit_s: Some(0.06), ..TrendOptions::new(300.0) };
        let found = trend(&failing, &options).expect("intervals");
        assert_eq!(found.beyond_since_s, Some(9000.0), "{found:?}");
        assert!(found.warm_up_cost.is_some());
    }

    #[test]
    fn omitted_and_grouped_intervals_are_counted() {
        let check = |intervals: &[IntervalStats], measure, counts, is_fitted: bool, is_rising: bool| {
            let options = TrendOptions { measure, limit_s: Some(1.0), ..TrendOptions::new(300.0) };
            let found = trend(intervals, &options).unwrap();
            assert_eq!((found.intervals, found.omitted, found.group_size), counts);
            assert_eq!(found.fit.is_some(), is_fitted, "{found:?}");
            assert_eq!(found.fit.is_some_and(|fit| fit.slope.low > 0.0), is_rising, "{found:?}");
            assert_eq!(found.time_to_limit == Some(TimeToLimit::default()), !is_fitted, "{found:?}");
        };
        check(&intervals(60), Measure::Median, (60, 0, 1), true, false);
        check(&intervals(400), Measure::P95, (400, 0, 1), true, true);
        check(&intervals(5), Measure::Median, (5, 0, 1), false, false);
        check(&intervals(2100), Measure::Median, (2100, 0, 3), true, false);
        let mut odd = intervals(60);
        (odd[3].moves, odd[4].median_s, odd[5].time_s) = (4, f64::NAN, f64::INFINITY);
        check(&odd, Measure::Median, (57, 3, 1), true, false);
        assert_eq!(trend(&odd[3..5], &TrendOptions::new(300.0)), None);
    }
}
