//! In: a series. Out: its changes, and where its last straight segment may begin.
//!
//! A trend is fitted to the segment after the last change only: a line through a healthy half and a worn half describes
//! neither. The start of that segment is itself uncertain. All starts that fit nearly as well as the best are returned
//! (the likelihood-ratio set, 3.84 = the 95 % quantile of chi-square with one degree; Hinkley, Biometrika 56, 1969), so
//! that a confidence interval over all of them includes this uncertainty.

use std::ops::Range;

use super::change_point::{Model, SHORTEST, change_points};
use super::noise::{Noise, residual_factor};
use super::quantile::median;
use super::regression::{PrefixSums, least_squares};

/// 95 % quantile of chi-square with one degree of freedom.
const CHI_SQUARE_95: f64 = 3.841_458_820_694_124;
/// 99 % quantile of the same. A slope that reduces the sum of squares by less cannot rule out a later rise.
const CHI_SQUARE_99: f64 = 6.634_896_601_021_213;
/// A bend too faint to be a change is searched only where at least this share of the series follows it.
const FAINT_SHARE: f64 = 0.25;
/// Deviation from its neighbours beyond which a value is an outlier. Unit: standard deviations
const OUTLIER: f64 = 5.0;
/// Largest number of starts; more are thinned evenly.
const MAX_STARTS: usize = 12;

/// Segments of a series.
#[derive(Clone, Debug, PartialEq)]
pub struct Segments {
    /// First points of the new segments.
    pub changes: Vec<usize>,
    /// Best start of the last segment.
    pub start: usize,
    /// Every possible start of the last segment, `start` among them.
    pub starts: Vec<usize>,
}

/// The segments of a series in time order; `None` if it is too short.
pub fn segments(time: &[f64], values: &[f64]) -> Option<Segments> {
    let noise = Noise::of(values).filter(|_| values.len() >= SHORTEST)?;
    let values = &without_outliers(values, OUTLIER * noise.sd);
    let sums = PrefixSums::new(time, values);
    let mut changes = change_points(time, values, Model::Line);
    let unit = noise.sd * noise.sd * noise.variance_factor();
    let Some(last) = changes.pop() else {
        return Some(Segments { changes, start: 0, starts: starts_without_change(&sums, unit) });
    };
    let parent = changes.last().copied().unwrap_or(0)..values.len();
    let (start, starts) = starts_of_last(&sums, (time, values), &parent, unit).unwrap_or((last, vec![last]));
    changes.push(start);
    Some(Segments { changes, start, starts })
}

/// Replaces each value that is farther than `largest` from the median of itself and three neighbours on either side by
/// that median (Hampel's filter), so that a single outlier makes no change.
fn without_outliers(values: &[f64], largest: f64) -> Vec<f64> {
    let filtered = |at: usize| {
        let middle = median(&values[at.saturating_sub(3)..(at + 4).min(values.len())]).unwrap_or(values[at]);
        if (values[at] - middle).abs() > largest { middle } else { values[at] }
    };
    (0..values.len()).map(filtered).collect()
}

/// Possible starts of the last segment where no change is certain: the start of the series; the best bend, and all bends
/// that fit nearly as well if a single line does not; and the last part alone if the slope of the whole series is
/// uncertain, because a rise could be hidden there.
fn starts_without_change(sums: &PrefixSums, unit: f64) -> Vec<usize> {
    let whole = 0..sums.len();
    let last = sums.len() - ((FAINT_SHARE * sums.len() as f64) as usize).clamp(SHORTEST, sums.len());
    let about = |bend: usize| sums.about_bend(whole.clone(), bend);
    let best = (SHORTEST..=last).min_by(|a, b| about(*a).total_cmp(&about(*b)));
    let (line, near) = (sums.about_line(whole.clone()), CHI_SQUARE_95 * unit);
    let mut starts = vec![0];
    if let Some(best) = best {
        let all = (SHORTEST..=last).filter(|bend| about(*bend) <= about(best) + near).collect();
        starts.extend(if line > about(best) + near { thinned(all) } else { vec![best] });
    }
    if sums.about_level(whole) <= line + CHI_SQUARE_99 * unit {
        starts.push(last);
    }
    starts.sort_unstable();
    starts.dedup();
    starts
}

/// Residuals of the least-squares line of a segment.
fn residuals((time, values): (&[f64], &[f64]), range: Range<usize>) -> Vec<f64> {
    let (time, values) = (&time[range.clone()], &values[range]);
    let first = time.first().copied().unwrap_or(0.0);
    let since: Vec<f64> = time.iter().map(|time| time - first).collect();
    let line = least_squares(&since, values);
    let at = |time: f64| line.map_or(0.0, |line| line.intercept + line.slope * time);
    since.iter().zip(values).map(|(time, value)| value - at(*time)).collect()
}

/// At most [`MAX_STARTS`] of the starts, evenly thinned, and the last.
fn thinned(all: Vec<usize>) -> Vec<usize> {
    let step = all.len().div_ceil(MAX_STARTS).max(1);
    all.iter().copied().step_by(step).chain(all.last().copied()).collect()
}

/// The best start of the last segment within `parent`, and all that fit nearly as well. A bend is preferred to a step
/// unless the step fits better by more than the penalty of one parameter (ln n).
fn starts_of_last(
    sums: &PrefixSums,
    series: (&[f64], &[f64]),
    parent: &Range<usize>,
    unit: f64,
) -> Option<(usize, Vec<usize>)> {
    let places = parent.start + SHORTEST..(parent.end + 1).saturating_sub(SHORTEST);
    let step = |at: usize| sums.about_line(parent.start..at) + sums.about_line(at..parent.end);
    let bend = |at: usize| sums.about_bend(parent.clone(), at);
    let best = |about: &dyn Fn(usize) -> f64| {
        places.clone().map(|at| (at, about(at))).min_by(|a, b| a.1.total_cmp(&b.1))
    };
    let (steps, bends) = (best(&step)?, best(&bend)?);
    let is_bend = bends.1 <= steps.1 + unit * (parent.len() as f64).ln();
    let (start, least) = if is_bend { bends } else { steps };
    let about = |at: usize| if is_bend { bend(at) } else { step(at) };
    // The noise from differences includes a steep ramp; the residuals about the known ramp do not.
    let residuals = [residuals(series, parent.start..start), residuals(series, start..parent.end)].concat();
    let unit = least / (parent.len() as f64 - 4.0) * residual_factor(&residuals);
    let near: Vec<usize> = places.filter(|at| about(*at) <= least + CHI_SQUARE_95 * unit).collect();
    let mut starts = thinned(near);
    starts.push(start);
    starts.sort_unstable();
    starts.dedup();
    Some((start, starts))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    #[test]
    fn the_last_segment_is_found_and_its_start_bracketed() {
        let time: Vec<f64> = (0..120).map(f64::from).collect();
        let check = |shape: &dyn Fn(f64) -> f64, expected: usize, changes: usize| {
            let mut random = Pcg32::new(11, 1);
            let mut uniform = || f64::from(random.next_u32()) / f64::from(u32::MAX);
            let values: Vec<f64> = time.iter().map(|t| shape(*t) + uniform()).collect();
            let found = segments(&time, &values).unwrap();
            assert_eq!(found.changes.len(), changes, "{found:?}");
            assert!(found.start.abs_diff(expected) <= 6 && found.starts.contains(&found.start), "{found:?}");
            let (first, last) = (found.starts[0], found.starts[found.starts.len() - 1]);
            assert!(first <= expected && last >= expected, "{found:?}");
        };
        check(&|t| 0.1 * t, 0, 0);
        check(&|t| 0.1 * (t - 60.0).max(0.0), 60, 1);
        check(&|t| if t < 80.0 { 9.0 } else { 5.0 }, 80, 1);
        check(&|t| if t < 30.0 { 9.0 } else { 5.0 + 0.1 * (t - 80.0).max(0.0) }, 80, 2);
        assert_eq!(segments(&time[..7], &time[..7]), None);
    }
}
