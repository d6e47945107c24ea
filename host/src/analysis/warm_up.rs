//! In: one statistic per interval. Out: which intervals are warm-up and which are hot; each warm-up against the earlier.
//!
//! An axis that has stood still is cold: its settling differs for some minutes and then returns to its hot level.
//! Compared with hot running, every morning would be drift. The rule is our own:
//! - A run begins with the series or after a pause. Its hot level is the median of its intervals between one and three
//!   times `longest_s` after its start.
//! - Its first intervals, within `longest_s`, are warm-up until one lies inside ± `width` × noise about the hot level or
//!   on the other side of it.
//! - They are no warm-up if they jump past the level, or if they do not reach it in time and the last of them is less
//!   than a quarter of the distance nearer.
//! - A run too short for a hot level of its own uses that of the run before. Without any hot level, it is not known which
//!   intervals within `longest_s` are warm-up: they are no hot running, and nothing is stated of them as a warm-up.

use std::ops::Range;

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::noise::Noise;
use super::order::finite_values;
use super::quantile::median;

/// Fewest intervals that make a hot level.
const FEWEST_HOT: usize = 3;
/// Largest distance from the hot level of the last interval of a warm-up that does not reach it, as a share of the first.
const NEARER: f64 = 0.75;
/// Fewest earlier warm-ups that a warm-up is compared with.
const FEWEST_EARLIER: usize = 3;

/// Definition of a pause and of a warm-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// Length of an interval. Unit: s
    pub interval_s: f64,
    /// Shortest standstill after which an axis is cold. Unit: s
    pub pause_s: f64,
    /// Longest warm-up. Unit: s
    pub longest_s: f64,
    /// Half-width of the band about the hot level. Unit: standard deviations of an interval's statistic
    pub width: f64,
}

impl Rule {
    /// Pauses of at least 15 min, warm-ups of at most 30 min, a band of two standard deviations.
    pub fn new(interval_s: f64) -> Rule {
        Rule { interval_s, pause_s: 900.0, longest_s: 1800.0, width: 2.0 }
    }
}

/// The first intervals after a pause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WarmUp {
    /// Index of the first interval in the series.
    pub first: usize,
    /// Number of intervals, at least 1.
    pub intervals: usize,
    /// Start. Unit: s
    pub from_s: f64,
    /// End of the last interval. Unit: s
    pub to_s: f64,
    /// Whether there was a hot level to tell it from; otherwise its intervals may as well be hot running.
    pub is_known: bool,
    /// Sum over the intervals of (statistic − hot level) × length: size and duration in one number. `None` without a hot
    /// level. Unit: statistic × s
    pub excess: Option<f64>,
    /// This excess minus the mean excess of the earlier warm-ups; `None` for the first.
    pub against_earlier: Option<f64>,
    /// Probability of a difference at least as large if nothing changed: Student's t of one new value against a normal
    /// sample; `None` with fewer than three earlier warm-ups.
    pub p: Option<f64>,
}

/// Warm-ups of a series in time order; an interval in none of them is hot. A run without a warm-up counts as an excess
/// of 0 in later comparisons. A value may be +∞, not settled: such a warm-up has no excess.
pub fn warm_ups(time: &[f64], values: &[f64], rule: &Rule) -> Vec<WarmUp> {
    let finite = finite_values(values);
    let noise = Noise::of(&finite).map_or(0.0, |noise| noise.sd);
    let (mut found, mut earlier) = (Vec::new(), Vec::new());
    // Median of the values, and of their finite substitutes.
    let mut hot: Option<(f64, f64)> = None;
    for run in runs(time, rule) {
        let start = time[run.start];
        let is_late = |at: &usize| time[*at] - start >= rule.longest_s;
        let (own, own_finite): (Vec<f64>, Vec<f64>) = run
            .clone()
            .filter(|at| is_late(at) && time[*at] - start < 3.0 * rule.longest_s)
            .map(|at| (values[at], finite[at]))
            .unzip();
        if own.len() >= FEWEST_HOT {
            hot = median(&own).zip(median(&own_finite));
        }
        let level = hot.map(|hot| hot.1);
        let intervals = cold_intervals(&run, &finite, |at| !is_late(&at), level, rule.width * noise);
        let cold = run.start..run.start + intervals;
        let sum = |hot: f64| values[cold.clone()].iter().map(|y| (y - hot) * rule.interval_s).sum::<f64>();
        let excess = hot.map(|hot| sum(hot.0)).filter(|excess| excess.is_finite());
        let (against_earlier, p) = excess.map_or((None, None), |excess| compare(excess, &earlier));
        earlier.extend(excess);
        if intervals > 0 {
            let to_s = time[cold.end - 1] + rule.interval_s;
            found.push(WarmUp {
                first: run.start,
                intervals,
                from_s: start,
                to_s,
                is_known: hot.is_some(),
                excess,
                against_earlier,
                p,
            });
        }
    }
    found
}

/// Runs between pauses.
fn runs(time: &[f64], rule: &Rule) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for (at, start) in time.iter().enumerate() {
        match runs.last_mut() {
            Some(run) if start - time[at - 1] - rule.interval_s < rule.pause_s => run.end = at + 1,
            _ => runs.push(at..at + 1),
        }
    }
    runs
}

/// Number of warm-up intervals at the start of a run.
fn cold_intervals(
    run: &Range<usize>,
    values: &[f64],
    is_early: impl Fn(usize) -> bool,
    hot: Option<f64>,
    width: f64,
) -> usize {
    let Some(hot) = hot else { return run.clone().take_while(|at| is_early(*at)).count() };
    let distance: Vec<f64> = run.clone().map(|at| values[at] - hot).collect();
    let is_cold = |at: &usize| {
        let same_side = distance[*at] * distance[at.saturating_sub(1)] >= 0.0;
        is_early(run.start + at) && distance[*at].abs() > width && same_side
    };
    let count = (0..distance.len()).take_while(is_cold).count();
    let arrives = distance.get(count).is_some_and(|next| next.abs() <= width);
    let nearer = count > 0 && distance[count - 1].abs() <= NEARER * distance[0].abs();
    if arrives || nearer { count } else { 0 }
}

/// Difference from the mean of the earlier excesses, and the probability of one at least as large.
fn compare(excess: f64, earlier: &[f64]) -> (Option<f64>, Option<f64>) {
    let n = earlier.len() as f64;
    if earlier.is_empty() {
        return (None, None);
    }
    let mean = earlier.iter().sum::<f64>() / n;
    let difference = excess - mean;
    let power: f64 = earlier.iter().map(|each| (each - mean).powi(2)).sum();
    let t = difference / (power / (n - 1.0) * (1.0 + 1.0 / n)).sqrt();
    if earlier.len() < FEWEST_EARLIER || !t.is_finite() {
        return (Some(difference), None);
    }
    let p = StudentsT::new(0.0, 1.0, n - 1.0).ok().map(|student| 2.0 * student.cdf(-t.abs()));
    (Some(difference), p)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    /// Days of 8 h: a warm-up of `excess` decays with a time constant of 8 min to the hot level 50; intervals of 5 min.
    fn days(excess: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let mut random = Pcg32::new(2, 2);
        let mut noise = || f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5;
        excess
            .iter()
            .enumerate()
            .flat_map(|(day, excess)| {
                (0..96).map(move |i| (86_400.0 * day as f64, 300.0 * f64::from(i), *excess))
            })
            .map(|(day, since, excess)| (day + since, 50.0 + excess * f64::exp(-since / 480.0) + noise()))
            .unzip()
    }

    #[test]
    fn mornings_differ_from_hot_running_and_from_other_mornings() {
        let (time, figures) = days(&[9.0, 10.0, 8.5, 9.2, 9.4, 20.0]);
        let found = warm_ups(&time, &figures, &Rule::new(300.0));
        assert_eq!(found.len(), 6, "{found:#?}");
        for (day, warm_up) in found.iter().enumerate() {
            assert_eq!(warm_up.first, 96 * day);
            assert!((4..=6).contains(&warm_up.intervals), "{warm_up:?}");
        }
        assert!(
            found[2].p.is_none() && found[4].p.unwrap() > 0.05 && found[5].p.unwrap() < 0.01,
            "{found:#?}"
        );
        assert!(found[5].against_earlier.unwrap() > 0.0);
    }

    #[test]
    fn no_warm_up_is_found_where_there_is_none() {
        let (time, figures) = days(&[0.0; 40]);
        let found: usize =
            warm_ups(&time, &figures, &Rule::new(300.0)).iter().map(|each| each.intervals).sum();
        assert!(found <= 6, "{found} of 40 first intervals");
    }

    #[test]
    fn wear_that_begins_soon_is_no_warm_up() {
        let time: Vec<f64> = (0..13).map(|i| 300.0 * f64::from(i)).collect();
        let check = |figures: [f64; 13]| assert_eq!(warm_ups(&time, &figures, &Rule::new(300.0)), []);
        check([7.2, 7.2, 7.3, 7.2, 7.2, 7.2, 9.0, 27.0, 47.0, 56.0, 66.0, 97.0, 99.0]);
        check([7.2, 7.2, 7.3, 7.2, 90.0, 91.0, 60.0, 62.0, 61.0, 60.0, 66.0, 64.0, 60.0]);
    }

    #[test]
    fn short_runs_use_the_hot_level_of_the_run_before() {
        let (mut time, mut figures) = days(&[9.0]);
        time.extend([90_000.0, 90_300.0, 90_600.0]);
        figures.extend([58.0, 55.0, 50.1]);
        let found = warm_ups(&time, &figures, &Rule::new(300.0));
        assert_eq!((found[1].first, found[1].intervals), (96, 2));
        let alone = warm_ups(&time[96..], &figures[96..], &Rule::new(300.0));
        assert_eq!((alone[0].intervals, alone[0].excess), (3, None), "without any hot level none is hot");
        assert!(found[1].is_known && !alone[0].is_known, "{alone:?}");
        assert_eq!(warm_ups(&[], &[], &Rule::new(300.0)), []);
    }

    #[test]
    fn a_morning_that_does_not_settle_is_a_warm_up_without_excess() {
        let (time, mut figures) = days(&[9.0, 9.0, 9.0, 9.0]);
        figures[96..99].fill(f64::INFINITY);
        let found = warm_ups(&time, &figures, &Rule::new(300.0));
        let intervals: Vec<usize> = found.iter().map(|each| each.intervals).collect();
        assert!(found.len() == 4 && intervals.iter().all(|count| (3..=6).contains(count)), "{found:#?}");
        assert!(found[0].excess.is_some() && found[1].excess.is_none() && found[2].against_earlier.is_some());
        let hot = warm_ups(&time[..96], &[f64::INFINITY; 96], &Rule::new(300.0));
        assert_eq!(hot, [], "an axis that never settles is no colder in the morning");
    }
}
