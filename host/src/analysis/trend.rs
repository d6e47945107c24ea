//! In: points of one kind. Out: its trend, changes, warm-ups, time to limit and cost.

use super::cost::{Baseline, Cost, Cycle, Shift, cost};
use super::fit::{Fit, fitted};
use super::left::Left;
use super::order::numbers;
use super::point::{Measure, Point};
use super::quantile::median;
use super::stretch::divide;
use super::time_to_limit::{TimeToLimit, time_to_limit};
use super::unsettled::{Unsettled, intervals, unsettled};
use super::warm_up::{Rule, WarmUp, warm_ups};

/// Points beyond which neighbours are made one.
const MOST_POINTS: usize = 1000;

/// What is asked of a trend.
#[derive(Clone, Debug, PartialEq)]
pub struct Ask {
    /// Which figure.
    pub measure: Measure,
    /// Pauses and warm-ups; the length of an interval.
    pub rule: Rule,
    /// Points of fewer moves are left out: their figures say little.
    pub fewest_moves: u64,
    /// Confidence of every interval, 0 … 1.
    pub confidence: f64,
    /// Settling time that must not be reached. Unit: s
    pub limit_s: Option<f64>,
    /// Errors left at that limit, if settling curves are at hand: they tell more than settling times.
    pub left: Option<Left>,
    /// What costs are told against; without it, the first hot interval.
    pub baseline: Option<Baseline>,
    /// When settings or the machine were changed: slopes are not taken across. Unit: s
    pub restarts: Vec<f64>,
    /// What a cycle takes, for parts.
    pub cycle: Option<Cycle>,
    /// Intervals of time that are accounted for by themselves.
    pub shifts: Vec<Shift>,
}

impl Ask {
    /// Medians, 95 % intervals, points of at least five moves, no limit and no money.
    pub fn new(interval_s: f64) -> Ask {
        Ask {
            measure: Measure::Median,
            rule: Rule::new(interval_s),
            fewest_moves: 5,
            confidence: 0.95,
            limit_s: None,
            left: None,
            baseline: None,
            restarts: Vec::new(),
            cycle: None,
            shifts: Vec::new(),
        }
    }

    /// Whether a point has enough moves, a figure, and no restart within.
    fn takes(&self, point: &Point) -> bool {
        let within =
            |restart: &f64| *restart > point.time_s && *restart < point.time_s + self.rule.interval_s;
        point.moves + point.unsettled >= self.fewest_moves
            && point.time_s.is_finite()
            && !self.measure.of(point).is_nan()
            && !self.restarts.iter().any(within)
    }
}

/// A change of level or slope in hot running.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Start of the first interval after it. Unit: s
    pub time_s: f64,
    /// Median figure of the stretch before, up to the change before; +∞: not settled. Unit: s
    pub before_s: f64,
    /// Median figure of the stretch after, up to the next change; +∞: not settled. Unit: s
    pub after_s: f64,
}

/// The trend of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Which figure.
    pub measure: Measure,
    /// Points used, hot or not.
    pub points: usize,
    /// Points left out: too few moves, figures that are no numbers, or a restart within.
    pub left_out: usize,
    /// Of those used, the points whose figure is "not settled".
    pub not_settled: usize,
    /// Figure of the last interval used; +∞: not settled. Unit: s
    pub last_s: f64,
    /// Start of the first interval and end of the last. Unit: s
    pub span_s: (f64, f64),
    /// Hot points that were made one, by their medians, for the changes and the fit: 1 unless there are over a thousand.
    pub grouped: usize,
    /// First intervals after pauses.
    pub warm_ups: Vec<WarmUp>,
    /// Restarts within, in order: nothing is compared across them. Unit: s
    pub restarts: Vec<f64>,
    /// Changes in hot running, in order.
    pub changes: Vec<Change>,
    /// The trend since the last of them; `None` under eight hot points since the last restart.
    pub fit: Option<Fit>,
    /// Moves that did not settle, in hot running since the last restart.
    pub unsettled: Option<Unsettled>,
    /// Intervals used in which moves did not settle: start in s, how many, of how many that did or did not.
    pub unsettled_intervals: Vec<(f64, u64, u64)>,
    /// From the end of the last interval; `None` without a limit.
    pub time_to_limit: Option<TimeToLimit>,
    /// Whether settling curves told it, and not settling times alone.
    pub by_curves: bool,
    /// What costs are told against: what was asked for, else the first hot interval.
    pub baseline: Option<Baseline>,
    /// Cost over all points, warm-ups included: they cost as much.
    pub cost: Cost,
    /// Cost of the warm-ups alone.
    pub warm_up_cost: Cost,
    /// Cost of each shift, in the order asked.
    pub shifts: Vec<(Shift, Cost)>,
}

/// The trend of points in any order; `None` if none can be used.
pub fn trend(points: &[Point], ask: &Ask) -> Option<Trend> {
    let mut used: Vec<Point> = points.iter().filter(|point| ask.takes(point)).copied().collect();
    used.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let time: Vec<f64> = used.iter().map(|point| point.time_s).collect();
    let figures: Vec<f64> = used.iter().map(|point| ask.measure.of(point)).collect();
    let end = used.last()?.time_s + ask.rule.interval_s;
    let warm_ups = warm_ups(&time, &figures, &ask.rule);
    let (hot, cold) = parted(&used, &warm_ups);
    let mut restarts = ask.restarts.clone();
    restarts.retain(|restart| (used[0].time_s..end).contains(restart));
    restarts.sort_by(f64::total_cmp);
    let size = hot.len().div_ceil(MOST_POINTS).max(1);
    let parts = parts(&hot, &restarts);
    let stretch = last_stretch(&parts, size, end, ask);
    let (time_to_limit, by_curves) = foreseen(parts.last().unwrap_or(&hot.as_slice()), &warm_ups, end, ask);
    let baseline = ask.baseline.or_else(|| Baseline::of_first(&hot));
    let cost_of = |points, shift| cost(points, shift, baseline.map(|it| it.settling_s), ask.cycle);
    Some(Trend {
        measure: ask.measure,
        points: used.len(),
        left_out: points.len() - used.len(),
        not_settled: figures.iter().filter(|figure| **figure == f64::INFINITY).count(),
        last_s: *figures.last()?,
        span_s: (used.first()?.time_s, end),
        grouped: size,
        warm_ups,
        restarts,
        changes: stretch.changes,
        fit: stretch.fit,
        unsettled: parts.last().and_then(|last| unsettled(last)),
        unsettled_intervals: intervals(&used),
        time_to_limit,
        by_curves,
        baseline,
        cost: cost_of(points, None),
        warm_up_cost: cost_of(&cold, None),
        shifts: ask.shifts.iter().map(|shift| (shift.clone(), cost_of(points, Some(shift)))).collect(),
    })
}

/// Hot points and those of warm-ups.
fn parted(used: &[Point], warm_ups: &[WarmUp]) -> (Vec<Point>, Vec<Point>) {
    let is_hot = |at: usize| !warm_ups.iter().any(|w| (w.first..w.first + w.intervals).contains(&at));
    let (hot, cold): (Vec<_>, Vec<_>) = used.iter().copied().enumerate().partition(|(at, _)| is_hot(*at));
    let points = |of: Vec<(usize, Point)>| of.into_iter().map(|(_, point)| point).collect();
    (points(hot), points(cold))
}

/// The points between restarts, one part more than there are restarts.
fn parts<'p>(hot: &'p [Point], restarts: &[f64]) -> Vec<&'p [Point]> {
    let mut parts = Vec::new();
    let mut left = hot;
    for restart in restarts {
        let (before, after) = left.split_at(left.partition_point(|point| point.time_s < *restart));
        parts.push(before);
        left = after;
    }
    parts.push(left);
    parts
}

/// When the limit is reached, by hot running since the last restart, and whether curves told it.
fn foreseen(since: &[Point], warm_ups: &[WarmUp], end: f64, ask: &Ask) -> (Option<TimeToLimit>, bool) {
    let Some(limit) = ask.limit_s else { return (None, false) };
    let tell = |left: &Left| time_to_limit(left, ask.measure.share(), end, ask.confidence);
    let by_curves = ask.left.as_ref().and_then(|left| {
        let cold: Vec<_> = warm_ups.iter().map(|warm_up| warm_up.from_s..warm_up.to_s).collect();
        tell(&left.hot(since.first()?.time_s, &cold))
    });
    let figures = || Left::of_figures(since, ask.rule.interval_s, |point| ask.measure.of(point), limit);
    (Some(by_curves.or_else(|| tell(&figures())).unwrap_or_default()), by_curves.is_some())
}

/// What the stretches say.
#[derive(Default)]
struct Stretch {
    changes: Vec<Change>,
    fit: Option<Fit>,
}

/// Changes of all parts, and the fit since the last in the last part.
fn last_stretch(parts: &[&[Point]], size: usize, end: f64, ask: &Ask) -> Stretch {
    let mut last = Stretch::default();
    for part in parts {
        let (time, figures) = grouped(part, size, ask.measure);
        let changes = std::mem::take(&mut last.changes);
        last = stretch(&time, &figures, end, ask);
        last.changes.splice(0..0, changes);
    }
    last
}

/// So many neighbours made one that at most [`MOST_POINTS`] are left: a month needs no more, and is told at once.
fn grouped(points: &[Point], size: usize, measure: Measure) -> (Vec<f64>, Vec<f64>) {
    let figure = |group: &[Point]| median(&group.iter().map(|point| measure.of(point)).collect::<Vec<f64>>());
    let time = |group: &[Point]| group.iter().map(|point| point.time_s).sum::<f64>() / group.len() as f64;
    points.chunks(size).filter_map(|group| Some((time(group), figure(group)?))).unzip()
}

/// Changes of a hot series, and the fit since the last.
fn stretch(time: &[f64], figures: &[f64], end: f64, ask: &Ask) -> Stretch {
    // What does not settle lies beyond all that does, so that its beginning is a change like any other.
    let Some(division) = divide(time, &numbers(figures)) else { return Stretch::default() };
    let places = [&[0], division.changes.as_slice(), &[time.len()]].concat();
    let changes = places.windows(3).filter_map(|places| {
        let &[before, at, after] = places else { return None };
        let (before_s, after_s) = (median(&figures[before..at])?, median(&figures[at..after])?);
        Some(Change { time_s: time[at], before_s, after_s })
    });
    let how = (ask.rule.interval_s, ask.confidence);
    let line = |start: usize| fitted(&time[start..], &figures[start..], end, how);
    let lines: Vec<Fit> = division.starts.iter().filter_map(|start| line(*start)).collect();
    let fit = line(division.start).map(|mut fit| {
        fit.slope.low = lines.iter().fold(fit.slope.low, |low, line| low.min(line.slope.low));
        fit.slope.high = lines.iter().fold(fit.slope.high, |high, line| high.max(line.slope.high));
        fit
    });
    Stretch { changes: changes.collect(), fit }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(count: usize) -> Vec<Point> {
        let noise = |i: usize| (i * i * 7919 % 89) as f64 / 89.0;
        (0..count)
            .rev()
            .map(|i| {
                let median_s = 0.05 + 1e-3 * noise(i);
                let p95_s = 0.06 + 1e-3 * noise(i + 1) + 1e-5 * i as f64;
                Point { time_s: 300.0 * i as f64, moves: 20, unsettled: 0, median_s, p95_s, mean_s: None }
            })
            .collect()
    }

    #[test]
    fn what_is_left_out_and_grouped_is_told() {
        let check = |points: &[Point], measure, used, left_out, grouped, is_fitted: bool, is_rising: bool| {
            let ask = Ask { measure, limit_s: Some(1.0), ..Ask::new(300.0) };
            let found = trend(points, &ask).unwrap();
            assert_eq!((found.points, found.left_out, found.grouped), (used, left_out, grouped));
            assert_eq!(found.fit.is_some(), is_fitted, "{found:?}");
            assert_eq!(found.fit.is_some_and(|fit| fit.slope.low > 0.0), is_rising, "{found:?}");
            assert_eq!(found.time_to_limit == Some(TimeToLimit::default()), !is_fitted, "{found:?}");
        };
        check(&points(60), Measure::Median, 60, 0, 1, true, false);
        check(&points(400), Measure::P95, 400, 0, 1, true, true);
        check(&points(5), Measure::Median, 5, 0, 1, false, false);
        check(&points(2100), Measure::Median, 2100, 0, 3, true, false);
        let mut odd = points(60);
        (odd[3].moves, odd[4].median_s, odd[5].time_s) = (4, f64::NAN, f64::INFINITY);
        check(&odd, Measure::Median, 57, 3, 1, true, false);
        assert_eq!(trend(&odd[3..5], &Ask::new(300.0)), None);
    }
}
