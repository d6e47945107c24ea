//! In: errors left at a limit, slot by slot. Out: when the limit is reached.
//!
//! What may happen within a time is judged by what happened in twice that time before. Near and far are looked at by
//! themselves, each with the same number of groups: minutes by minutes, weeks by weeks. Wear is no straight line, and only
//! what goes on like the recent past can be foreseen.

use super::left::Left;
use super::local_trend::LocalTrend;

/// Groups that are looked back upon.
const GROUPS: usize = 24;
/// Times as far as is looked ahead, it is looked back.
const BACK: f64 = 2.0;
/// Instants that are looked at on each scale.
const INSTANTS: usize = 24;
/// Scales at most: from minutes on, each twice as long, this is centuries.
const SCALES: u32 = 26;

/// When the limit is reached. Counted from the end of the last interval. Unit: s
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TimeToLimit {
    /// Not before this.
    pub earliest_s: f64,
    /// As likely before as after; none if it is not as far as can be seen.
    pub likely_s: Option<f64>,
    /// Not after this; none if perhaps never. 0: it is reached.
    pub latest_s: Option<f64>,
    /// As far as can be seen.
    pub seen_s: f64,
}

impl TimeToLimit {
    /// One word.
    pub fn word(&self) -> &'static str {
        match (self.earliest_s, self.latest_s) {
            (_, Some(0.0)) => "reached",
            (_, Some(_)) => "between",
            (0.0, None) => "unknown",
            _ => "not-before",
        }
    }

    /// Whether it may be reached at an instant; none: never.
    pub fn holds(&self, instant_s: Option<f64>) -> bool {
        let latest = self.latest_s.unwrap_or(f64::INFINITY);
        instant_s.map_or(latest.is_infinite(), |at| (self.earliest_s..=latest).contains(&at))
    }
}

/// When an error that a share of the moves keep is a window, from `end_s` on, with this confidence; `None` if there is too
/// little to tell.
pub fn time_to_limit(left: &Left, share: f64, end_s: f64, confidence: f64) -> Option<TimeToLimit> {
    let few = (1.0 - confidence) / 2.0;
    let mut chances: Vec<(f64, f64)> = Vec::new();
    for scale in 0..SCALES {
        let slots = 1_usize << scale;
        let group_s = left.slot_s() * slots as f64;
        // Only the shortest scale makes do with less than all its groups.
        if scale > 0 && left.from_s()? > end_s - group_s * GROUPS as f64 {
            break;
        }
        let Some(trend) = LocalTrend::new(&left.groups(end_s, (GROUPS, slots), share)) else { continue };
        let (from, to) = (chances.last().map_or(0.0, |last| last.0), group_s * GROUPS as f64 / BACK);
        let first = usize::from(!chances.is_empty());
        chances.extend((first..=INSTANTS).map(|place| {
            let at = from + (to - from) * place as f64 / INSTANTS as f64;
            // The last value stands in the middle of its group.
            (at, trend.beyond(at / group_s + 0.5))
        }));
    }
    let seen_s = chances.last()?.0;
    let after = |chance: f64| chances.iter().position(|each| each.1 > chance);
    Some(TimeToLimit {
        earliest_s: after(few).map_or(seen_s, |place| chances[place.saturating_sub(1)].0),
        likely_s: after(0.5).map(|place| chances[place].0),
        latest_s: after(1.0 - few).map(|place| chances[place].0),
        seen_s,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::point::Point;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    /// A figure each five minutes, with scatter; the limit is 1. `None`: no move.
    fn told(count: usize, figure: &dyn Fn(f64) -> Option<f64>) -> Option<TimeToLimit> {
        let mut chance = Pcg32::new(6, 6);
        let mut even = || f64::from(chance.next_u32()) / f64::from(u32::MAX) - 0.5;
        let mut point = |hours: f64| {
            let median_s = figure(hours)? + 0.02 * even();
            let time_s = 3600.0 * hours;
            Some(Point { time_s, moves: 9, unsettled: 0, median_s, p95_s: median_s, mean_s: None })
        };
        let points: Vec<Point> = (0..count).filter_map(|i| point(i as f64 / 12.0)).collect();
        let left = Left::of_figures(&points, 300.0, |point| point.median_s, 1.0);
        time_to_limit(&left, 0.5, 300.0 * count as f64, 0.95)
    }

    #[test]
    fn ends_are_those_that_the_values_allow() {
        let hours = |told: Option<f64>| told.map(|seconds| seconds / 3600.0);
        // 0.9 after 8 h, 0.1 an hour: an hour to go.
        let rise = told(96, &|hours| Some(0.1 + 0.1 * hours)).expect("enough");
        let (earliest, likely) = (rise.earliest_s / 3600.0, hours(rise.likely_s).expect("seen"));
        assert!((0.3..0.95).contains(&earliest) && (0.9..1.15).contains(&likely), "{rise:?}");
        assert!(rise.holds(Some(3600.0)) && !rise.holds(Some(360.0)), "{rise:?}");
        // A pause of three hours takes nothing away.
        let paused =
            told(96, &|hours| (!(2.0..5.0).contains(&hours)).then_some(0.1 + 0.1 * hours)).expect("enough");
        assert!((paused.earliest_s / 3600.0 - earliest).abs() < 0.3, "{paused:?}");
        let flat = told(96, &|_| Some(0.5)).expect("enough");
        assert!(
            flat.likely_s.is_none() && flat.earliest_s > 0.2 * flat.seen_s && flat.holds(None),
            "{flat:?}"
        );
        assert_eq!((flat.word(), flat.seen_s), ("not-before", 4.0 * 3600.0));
        // What fell from beyond the limit is below it.
        let fell = told(96, &|hours| Some(if hours < 2.0 { 1.5 } else { 0.5 })).expect("enough");
        assert!(fell.earliest_s > 0.0 && fell.latest_s.is_none(), "{fell:?}");
        let beyond = told(96, &|hours| Some(if hours < 5.0 { 0.5 } else { 1.2 })).expect("enough");
        assert_eq!((beyond.word(), beyond.latest_s), ("reached", Some(0.0)));
        let near = told(96, &|_| Some(0.999)).expect("enough");
        assert_eq!((near.word(), near.earliest_s), ("unknown", 0.0), "{near:?}");
        assert_eq!(told(7, &|_| Some(0.5)), None);
        assert_eq!(TimeToLimit::default().word(), "unknown");
    }
}
