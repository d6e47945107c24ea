//! In: residual errors at a limit, slot by slot. Out: when the limit is reached.
//!
//! A forecast over some time uses twice that time of history. Each time scale has a forecast of its own, with the same
//! number of groups: the next minutes are forecast from minutes, the next weeks from weeks. Wear is not a straight line:
//! the forecast holds only while the wear goes on as in the recent past.

use super::local_trend::LocalTrend;
use super::residual_error::ResidualErrors;

/// Groups of history in each forecast.
const GROUPS: usize = 24;
/// Look-back as a multiple of the horizon.
const BACK: f64 = 2.0;
/// Forecast instants on each time scale.
const INSTANTS: usize = 24;
/// Largest number of time scales; each is twice as long as the one before, so this reaches from minutes to centuries.
const SCALES: u32 = 26;

/// When the limit is reached, from the end of the last interval. Unit: s
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TimeToLimit {
    /// Lower end of the confidence interval.
    pub earliest_s: f64,
    /// Median of the forecast; `None` if it lies beyond `seen_s`.
    pub likely_s: Option<f64>,
    /// Upper end of the confidence interval; `None` if the limit may never be reached; 0 if it is reached.
    pub latest_s: Option<f64>,
    /// Horizon of the forecast.
    pub seen_s: f64,
}

impl TimeToLimit {
    /// The same where the limit was seen to be reached.
    pub fn reached(self) -> TimeToLimit {
        TimeToLimit { earliest_s: 0.0, likely_s: None, latest_s: Some(0.0), ..self }
    }

    /// Name in the output.
    pub fn word(&self) -> &'static str {
        match (self.earliest_s, self.latest_s) {
            (_, Some(0.0)) => "reached",
            (_, Some(_)) => "between",
            (0.0, None) => "unknown",
            _ => "not-before",
        }
    }
}

/// When the error quantile `share` reaches the window, from `end_s` on, with this confidence; `None` if there is too
/// little history.
pub fn time_to_limit(
    errors: &ResidualErrors,
    share: f64,
    end_s: f64,
    confidence: f64,
) -> Option<TimeToLimit> {
    let tail = (1.0 - confidence) / 2.0;
    let mut forecast: Vec<(f64, f64)> = Vec::new();
    for scale in 0..SCALES {
        let slots = 1_usize << scale;
        let group_s = errors.slot_s() * slots as f64;
        // Only the shortest scale is used with less history than all its groups.
        if scale > 0 && errors.from_s()? > end_s - group_s * GROUPS as f64 {
            break;
        }
        let Some(trend) = LocalTrend::new(&errors.groups(end_s, (GROUPS, slots), share)) else { continue };
        let (from, to) = (forecast.last().map_or(0.0, |last| last.0), group_s * GROUPS as f64 / BACK);
        let first = usize::from(!forecast.is_empty());
        forecast.extend((first..=INSTANTS).map(|index| {
            let at = from + (to - from) * index as f64 / INSTANTS as f64;
            // The last value belongs to the middle of its group.
            (at, trend.beyond(at / group_s + 0.5))
        }));
    }
    let seen_s = forecast.last()?.0;
    let first_beyond = |p: f64| forecast.iter().position(|(_, probability)| *probability > p);
    Some(TimeToLimit {
        earliest_s: first_beyond(tail).map_or(seen_s, |index| forecast[index.saturating_sub(1)].0),
        likely_s: first_beyond(0.5).map(|index| forecast[index].0),
        latest_s: first_beyond(1.0 - tail).map(|index| forecast[index].0),
        seen_s,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::interval_stats::IntervalStats;
    use rand_pcg::Pcg32;
    use rand_pcg::rand_core::Rng;

    /// A median every five minutes, with scatter; the limit is 1. `None`: no move.
    fn forecast(count: usize, median: &dyn Fn(f64) -> Option<f64>) -> Option<TimeToLimit> {
        let mut random = Pcg32::new(6, 6);
        let mut uniform = || f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5;
        let mut interval = |hours: f64| {
            let median_s = median(hours)? + 0.02 * uniform();
            let time_s = 3600.0 * hours;
            Some(IntervalStats { time_s, moves: 9, median_s, p95_s: median_s, ..IntervalStats::default() })
        };
        let intervals: Vec<IntervalStats> = (0..count).filter_map(|i| interval(i as f64 / 12.0)).collect();
        let errors = ResidualErrors::from_intervals(&intervals, 300.0, |interval| interval.median_s, 1.0);
        time_to_limit(&errors, 0.5, 300.0 * count as f64, 0.95)
    }

    #[test]
    fn ends_are_those_that_the_values_allow() {
        let hours = |time: Option<f64>| time.map(|seconds| seconds / 3600.0);
        // 0.9 after 8 h, 0.1 an hour: an hour to go.
        let rise = forecast(96, &|hours| Some(0.1 + 0.1 * hours)).expect("enough");
        let (earliest, likely) = (rise.earliest_s / 3600.0, hours(rise.likely_s).expect("seen"));
        assert!((0.3..0.95).contains(&earliest) && (0.9..1.15).contains(&likely), "{rise:?}");
        let latest = rise.latest_s.unwrap_or(f64::INFINITY);
        assert!(rise.earliest_s > 360.0 && (rise.earliest_s..=latest).contains(&3600.0), "{rise:?}");
        // A pause of three hours takes nothing away.
        let paused = forecast(96, &|hours| (!(2.0..5.0).contains(&hours)).then_some(0.1 + 0.1 * hours))
            .expect("enough");
        assert!((paused.earliest_s / 3600.0 - earliest).abs() < 0.3, "{paused:?}");
        let flat = forecast(96, &|_| Some(0.5)).expect("enough");
        assert!(
            flat.likely_s.is_none() && flat.earliest_s > 0.2 * flat.seen_s && flat.latest_s.is_none(),
            "{flat:?}"
        );
        assert_eq!((flat.word(), flat.seen_s), ("not-before", 4.0 * 3600.0));
        // What fell from beyond the limit is below it.
        let fell = forecast(96, &|hours| Some(if hours < 2.0 { 1.5 } else { 0.5 })).expect("enough");
        assert!(fell.earliest_s > 0.0 && fell.latest_s.is_none(), "{fell:?}");
        let beyond = forecast(96, &|hours| Some(if hours < 5.0 { 0.5 } else { 1.2 })).expect("enough");
        assert_eq!((beyond.word(), beyond.latest_s), ("reached", Some(0.0)));
        let near = forecast(96, &|_| Some(0.999)).expect("enough");
        assert_eq!((near.word(), near.earliest_s), ("unknown", 0.0), "{near:?}");
        assert_eq!(forecast(7, &|_| Some(0.5)), None);
        assert_eq!(TimeToLimit::default().word(), "unknown");
    }
}
