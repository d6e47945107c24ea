//! In: a series. Out: its changes, and where the last straight stretch may have begun.
//!
//! A trend is fitted to the stretch after the last change only: a line through a healthy half and a worn half is true
//! of neither. Where that stretch begins is itself uncertain; every beginning is kept that fits nearly as well as the
//! best (the likelihood-ratio set, 3.84 = the 95 % quantile of chi-square with one degree; Hinkley, Biometrika 56,
//! 1969), so that an interval made of all of them is honest about it.

use std::ops::Range;

use super::change_point::{Model, SHORTEST, change_points};
use super::line::{Stretches, least_squares};
use super::noise::{Noise, residual_factor};
use super::quantile::median;

/// 95 % quantile of chi-square with one degree of freedom.
const NEARLY_AS_WELL: f64 = 3.841_458_820_694_124;
/// 99 % quantile of it: a slope that takes off less is not certain enough to rule out a later rise.
const BARELY: f64 = 6.634_896_601_021_213;
/// A bend too faint to be a change is only looked for where at least this share of the stretch follows it.
const FAINT_SHARE: f64 = 0.25;
/// Standard deviations from its neighbours beyond which a value is wild.
const WILD: f64 = 5.0;
/// Beginnings that are tried at most; more are thinned evenly.
const MOST: usize = 12;

/// How a series is divided.
#[derive(Clone, Debug, PartialEq)]
pub struct Division {
    /// First points of the new stretches.
    pub changes: Vec<usize>,
    /// Where the last stretch begins at best.
    pub start: usize,
    /// Every place where it may begin, `start` among them.
    pub starts: Vec<usize>,
}

/// Divides a series in the order of time; `None` if it is too short.
pub fn divide(time: &[f64], values: &[f64]) -> Option<Division> {
    let noise = Noise::of(values).filter(|_| values.len() >= SHORTEST)?;
    let values = &calmed(values, WILD * noise.sd);
    let stretches = Stretches::new(time, values);
    let mut changes = change_points(time, values, Model::Line);
    let unit = noise.sd * noise.sd * noise.variance_factor();
    let Some(last) = changes.pop() else {
        return Some(Division { changes, start: 0, starts: faint(&stretches, unit) });
    };
    let parent = changes.last().copied().unwrap_or(0)..values.len();
    let (start, starts) = beginnings(&stretches, (time, values), &parent, unit).unwrap_or((last, vec![last]));
    changes.push(start);
    Some(Division { changes, start, starts })
}

/// Values farther than `most` from the median of themselves and three neighbours on either side, replaced by it
/// (Hampel's filter): a single wild interval is no change.
fn calmed(values: &[f64], most: f64) -> Vec<f64> {
    let calm = |at: usize| {
        let middle = median(&values[at.saturating_sub(3)..(at + 4).min(values.len())]).unwrap_or(values[at]);
        if (values[at] - middle).abs() > most { middle } else { values[at] }
    };
    (0..values.len()).map(calm).collect()
}

/// Beginnings where no change is certain: the whole; the best bend, with all that fit nearly as well if a single line
/// does not; and the last part alone if the whole barely shows a slope, as a rise could hide there.
fn faint(stretches: &Stretches, unit: f64) -> Vec<usize> {
    let whole = 0..stretches.len();
    let last =
        stretches.len() - ((FAINT_SHARE * stretches.len() as f64) as usize).clamp(SHORTEST, stretches.len());
    let about = |bend: usize| stretches.about_bend(whole.clone(), bend);
    let best = (SHORTEST..=last).min_by(|a, b| about(*a).total_cmp(&about(*b)));
    let (line, near) = (stretches.about_line(whole.clone()), NEARLY_AS_WELL * unit);
    let mut starts = vec![0];
    if let Some(best) = best {
        let all = (SHORTEST..=last).filter(|bend| about(*bend) <= about(best) + near).collect();
        starts.extend(if line > about(best) + near { thinned(all) } else { vec![best] });
    }
    if stretches.about_level(whole) <= line + BARELY * unit {
        starts.push(last);
    }
    starts.sort_unstable();
    starts.dedup();
    starts
}

/// What the least-squares line leaves of a stretch.
fn residuals((time, values): (&[f64], &[f64]), range: Range<usize>) -> Vec<f64> {
    let (time, values) = (&time[range.clone()], &values[range]);
    let first = time.first().copied().unwrap_or(0.0);
    let since: Vec<f64> = time.iter().map(|time| time - first).collect();
    let line = least_squares(&since, values);
    let at = |time: f64| line.map_or(0.0, |line| line.intercept + line.slope * time);
    since.iter().zip(values).map(|(time, value)| value - at(*time)).collect()
}

/// At most [`MOST`] and the last of many.
fn thinned(all: Vec<usize>) -> Vec<usize> {
    let step = all.len().div_ceil(MOST).max(1);
    all.iter().copied().step_by(step).chain(all.last().copied()).collect()
}

/// The best beginning within `parent` and all that fit nearly as well; a bend is preferred to a step unless the step
/// fits better by more than one figure is worth (ln n).
fn beginnings(
    stretches: &Stretches,
    series: (&[f64], &[f64]),
    parent: &Range<usize>,
    unit: f64,
) -> Option<(usize, Vec<usize>)> {
    let places = parent.start + SHORTEST..(parent.end + 1).saturating_sub(SHORTEST);
    let step = |at: usize| stretches.about_line(parent.start..at) + stretches.about_line(at..parent.end);
    let bend = |at: usize| stretches.about_bend(parent.clone(), at);
    let best = |about: &dyn Fn(usize) -> f64| {
        places.clone().map(|at| (at, about(at))).min_by(|a, b| a.1.total_cmp(&b.1))
    };
    let (steps, bends) = (best(&step)?, best(&bend)?);
    let is_bend = bends.1 <= steps.1 + unit * (parent.len() as f64).ln();
    let (start, least) = if is_bend { bends } else { steps };
    let about = |at: usize| if is_bend { bend(at) } else { step(at) };
    // Differences take a steep ramp for noise; now that it is known, residuals tell better.
    let residuals = [residuals(series, parent.start..start), residuals(series, start..parent.end)].concat();
    let unit = least / (parent.len() as f64 - 4.0) * residual_factor(&residuals);
    let near: Vec<usize> = places.filter(|at| about(*at) <= least + NEARLY_AS_WELL * unit).collect();
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
    fn the_last_stretch_is_found_and_its_beginning_bracketed() {
        let time: Vec<f64> = (0..120).map(f64::from).collect();
        let check = |shape: &dyn Fn(f64) -> f64, expected: usize, changes: usize| {
            let mut chance = Pcg32::new(11, 1);
            let mut even = || f64::from(chance.next_u32()) / f64::from(u32::MAX);
            let values: Vec<f64> = time.iter().map(|t| shape(*t) + even()).collect();
            let found = divide(&time, &values).unwrap();
            assert_eq!(found.changes.len(), changes, "{found:?}");
            assert!(found.start.abs_diff(expected) <= 6 && found.starts.contains(&found.start), "{found:?}");
            let (first, last) = (found.starts[0], found.starts[found.starts.len() - 1]);
            assert!(first <= expected && last >= expected, "{found:?}");
        };
        check(&|t| 0.1 * t, 0, 0);
        check(&|t| 0.1 * (t - 60.0).max(0.0), 60, 1);
        check(&|t| if t < 80.0 { 9.0 } else { 5.0 }, 80, 1);
        check(&|t| if t < 30.0 { 9.0 } else { 5.0 + 0.1 * (t - 80.0).max(0.0) }, 80, 2);
        assert_eq!(divide(&time[..7], &time[..7]), None);
    }
}
