//! In: points of one kind. Out: its trend, changes, warm-ups, time to limit and cost.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::change_point::SHORTEST;
use super::cost::{Cost, Cycle, Shift, cost};
use super::mann_kendall::{MannKendall, mann_kendall, variance_factor};
use super::noise::residual_factor;
use super::point::Point;
use super::quantile::{MAD_TO_SD, mad, median};
use super::stretch::divide;
use super::theil_sen::{Slope, median_slope, theil_sen};
use super::time_to_limit::{Level, TimeToLimit, time_to_limit};
use super::warm_up::{Rule, WarmUp, warm_ups};

/// Standard error of a median over that of a mean, for normal values: √(π/2).
const MEDIAN_TO_MEAN: f64 = 1.253_314_137_315_500_3;

/// Points beyond which neighbours are made one.
const MOST_POINTS: usize = 1000;

/// Which figure of an interval is followed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// Median settling time.
    Median,
    /// Settling time that 95 of 100 moves keep.
    P95,
}

impl Measure {
    /// The figure of a point. Unit: s
    pub fn of(self, point: &Point) -> f64 {
        match self {
            Measure::Median => point.median_s,
            Measure::P95 => point.p95_s,
        }
    }

    /// One word.
    pub fn word(self) -> &'static str {
        match self {
            Measure::Median => "median",
            Measure::P95 => "p95",
        }
    }
}

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
    /// Mean settling time when the kind was declared good. Unit: s
    pub baseline_s: Option<f64>,
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
            baseline_s: None,
            cycle: None,
            shifts: Vec::new(),
        }
    }
}

/// A change of level or slope in hot running.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Start of the first interval after it. Unit: s
    pub time_s: f64,
    /// Median figure of the stretch before, up to the change before. Unit: s
    pub before_s: f64,
    /// Median figure of the stretch after, up to the next change. Unit: s
    pub after_s: f64,
}

/// The trend since the last change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Start of the first interval fitted; of the middle one of its group if `grouped`. Unit: s
    pub from_s: f64,
    /// Points fitted, each of `grouped` intervals.
    pub points: usize,
    /// Theil–Sen line through the middles of the intervals; its interval covers every beginning the stretch may have.
    pub slope: Slope,
    /// Mann–Kendall test of the same points; `None` if all are equal.
    pub test: Option<MannKendall>,
    /// By how much autocorrelation widens variances, from 1.
    pub variance_factor: f64,
    /// Value of the line at the end of the last interval. Unit: s
    pub level_s: f64,
}

/// The trend of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// Which figure.
    pub measure: Measure,
    /// Points used, hot or not.
    pub points: usize,
    /// Points left out: too few moves, or figures that are no numbers.
    pub left_out: usize,
    /// Start of the first interval and end of the last. Unit: s
    pub span_s: (f64, f64),
    /// Hot points that were made one, by their medians, for the changes and the fit: 1 unless there are over a thousand.
    pub grouped: usize,
    /// First intervals after pauses.
    pub warm_ups: Vec<WarmUp>,
    /// Changes in hot running, in order.
    pub changes: Vec<Change>,
    /// The trend since the last of them; `None` under eight hot points.
    pub fit: Option<Fit>,
    /// From the end of the last interval, on the clock of hot running; `None` without a limit.
    pub time_to_limit: Option<TimeToLimit>,
    /// Cost over all points, warm-ups included: they cost as much.
    pub cost: Cost,
    /// Cost of each shift, in the order asked.
    pub shifts: Vec<(Shift, Cost)>,
}

/// The trend of points in any order; `None` if none can be used.
pub fn trend(points: &[Point], ask: &Ask) -> Option<Trend> {
    let mut used: Vec<Point> = points
        .iter()
        .filter(|point| point.moves >= ask.fewest_moves)
        .filter(|point| point.time_s.is_finite() && ask.measure.of(point).is_finite())
        .copied()
        .collect();
    used.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let time: Vec<f64> = used.iter().map(|point| point.time_s).collect();
    let figures: Vec<f64> = used.iter().map(|point| ask.measure.of(point)).collect();
    let warm_ups = warm_ups(&time, &figures, &ask.rule);
    let is_cold = |at: usize| warm_ups.iter().any(|w| (w.first..w.first + w.intervals).contains(&at));
    let (time, figures): (Vec<f64>, Vec<f64>) =
        (0..used.len()).filter(|at| !is_cold(*at)).map(|at| (time[at], figures[at])).unzip();
    let (time, figures, grouped) = grouped(&time, &figures);
    let end = used.last()?.time_s + ask.rule.interval_s;
    let (changes, fit, time_to_limit) = last_stretch(&time, &figures, end, ask);
    let cost_of = |shift| cost(points, shift, ask.baseline_s, ask.cycle);
    Some(Trend {
        measure: ask.measure,
        points: used.len(),
        left_out: points.len() - used.len(),
        span_s: (used.first()?.time_s, end),
        grouped,
        warm_ups,
        changes,
        fit,
        time_to_limit: ask.limit_s.map(|_| time_to_limit.unwrap_or(TimeToLimit::Unknown)),
        cost: cost_of(None),
        shifts: ask.shifts.iter().map(|shift| (shift.clone(), cost_of(Some(shift)))).collect(),
    })
}

/// So many neighbours made one that at most [`MOST_POINTS`] are left: a month needs no more, and is told at once.
fn grouped(time: &[f64], figures: &[f64]) -> (Vec<f64>, Vec<f64>, usize) {
    let size = time.len().div_ceil(MOST_POINTS).max(1);
    let times = time.chunks(size).map(|group| group.iter().sum::<f64>() / group.len() as f64);
    (times.collect(), figures.chunks(size).filter_map(median).collect(), size)
}

/// Changes of the hot series, the fit since the last, and the time to the limit counted from `end`.
fn last_stretch(
    time: &[f64],
    figures: &[f64],
    end: f64,
    ask: &Ask,
) -> (Vec<Change>, Option<Fit>, Option<TimeToLimit>) {
    let Some(division) = divide(time, figures) else { return (Vec::new(), None, None) };
    let places = [&[0], division.changes.as_slice(), &[time.len()]].concat();
    let changes = places.windows(3).filter_map(|places| {
        let &[before, at, after] = places else { return None };
        let (before_s, after_s) = (median(&figures[before..at])?, median(&figures[at..after])?);
        Some(Change { time_s: time[at], before_s, after_s })
    });
    let line = |start: usize| fitted(&time[start..], &figures[start..], end, ask);
    let lines: Vec<Fitted> = division.starts.iter().filter_map(|start| line(*start)).collect();
    let fit = line(division.start).map(|best| {
        let mut fit = best.fit;
        fit.slope.low = lines.iter().fold(fit.slope.low, |low, line| low.min(line.fit.slope.low));
        fit.slope.high = lines.iter().fold(fit.slope.high, |high, line| high.max(line.fit.slope.high));
        fit
    });
    let limits = ask.limit_s.and_then(|limit| {
        lines
            .iter()
            .map(|line| time_to_limit(&line.level, &line.fit.slope, line.quantile, limit))
            .reduce(TimeToLimit::or)
    });
    (changes.collect(), fit, limits)
}

/// One line with what its extrapolation needs.
struct Fitted {
    fit: Fit,
    level: Level,
    quantile: f64,
}

/// The line through one stretch.
fn fitted(time: &[f64], figures: &[f64], end: f64, ask: &Ask) -> Option<Fitted> {
    let half = ask.rule.interval_s / 2.0;
    let middles: Vec<f64> = time.iter().map(|time| time + half).collect();
    let slope = median_slope(&middles, figures)?;
    let center = median(&middles)?;
    let flat: Vec<f64> = middles.iter().zip(figures).map(|(t, y)| y - slope * (t - center)).collect();
    let value = median(&flat)?;
    let residuals: Vec<f64> = flat.iter().map(|level| level - value).collect();
    let n = time.len() as f64;
    let factor = widening(&residuals);
    let test = mann_kendall(figures, factor);
    // Student's t for as many independent values as the series is worth.
    let freedom = (n / factor - 2.0).max(1.0);
    let quantile = StudentsT::new(0.0, 1.0, freedom).ok()?.inverse_cdf(0.5 + ask.confidence / 2.0);
    let confidence = (2.0 * Normal::standard().cdf(quantile) - 1.0).min(1.0 - 1e-12);
    let slope = theil_sen(&middles, figures, confidence, factor)?;
    let scatter = residuals.iter().map(|residual| residual.abs()).sum::<f64>() / n * MEDIAN_TO_MEAN;
    let error = MEDIAN_TO_MEAN * (MAD_TO_SD * mad(&flat)?).max(scatter) * (factor / n).sqrt();
    let level = Level { middle_s: center - end, value, error, span_s: end - time.first()? };
    let level_s = value + slope.slope * (end - center);
    let fit =
        Fit { from_s: *time.first()?, points: time.len(), slope, test, variance_factor: factor, level_s };
    (time.len() >= SHORTEST).then_some(Fitted { fit, level, quantile })
}

/// The larger of Hamed & Rao's factor and that of an AR(1) series; at least 1.
fn widening(residuals: &[f64]) -> f64 {
    variance_factor(residuals, residuals.len() / 4).max(residual_factor(residuals))
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
                Point { time_s: 300.0 * i as f64, moves: 20, median_s, p95_s, mean_s: None }
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
            assert_eq!(found.time_to_limit == Some(TimeToLimit::Unknown), !is_fitted, "{found:?}");
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
