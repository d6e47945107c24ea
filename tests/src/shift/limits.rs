//! In: limits that the settling time of an axis will reach, a seed. Out: the time to each as the trend states it, by settling curves.

use std::collections::BTreeMap;

use stillpoint::analysis::residual_error::{ResidualErrors, SLOT, Stop};
use stillpoint::analysis::time_to_limit::TimeToLimit;
use stillpoint::analysis::trend::{TrendOptions, trend};
use stillpoint_core::Outcome;

use super::library::Library;
use super::model::Work;
use super::truth::Truth;
use super::watched::{INTERVAL, Watched};

/// A limit that the expected median reaches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// Number of the kind.
    pub kind: u32,
    /// Instant at which the trend is made. Unit: s
    pub at: f64,
    /// How far ahead it was looked for. Unit: s
    pub ahead: f64,
    /// Unit: s
    pub limit_s: f64,
    /// From `at` until the expected median is there. Unit: s
    pub remaining: f64,
}

impl Limit {
    /// The limit that the expected median of a kind reaches `ahead` seconds after `at`; `None` beyond the known part.
    pub fn new(truth: &Truth, kind: u32, (at, ahead): (f64, f64)) -> Option<Limit> {
        let limit_s = truth.at(at + ahead);
        let remaining = truth.time_to(limit_s, at)?;
        (at + ahead <= truth.until()).then_some(Limit { kind, at, ahead, limit_s, remaining })
    }
}

/// Whether the confidence interval of a forecast contains an instant; `None`: never.
pub fn contains(forecast: &TimeToLimit, instant_s: Option<f64>) -> bool {
    let latest = forecast.latest_s.unwrap_or(f64::INFINITY);
    instant_s.map_or(latest.is_infinite(), |at| (forecast.earliest_s..=latest).contains(&at))
}

/// The time to each limit as the trend of one shift states it.
pub fn times_to_limits(library: &Library, limits: &[Limit], hours: f64, seed: u64) -> Vec<TimeToLimit> {
    let settings = library.known.settings;
    let ticks = f64::from(settings.ticks_per_second);
    let mut watched = Watched::new(settings, library.watch());
    let mut work = Work::new(library, seed, hours, true);
    let mut stops = BTreeMap::<u32, Vec<Stop>>::new();
    while let Some((record, curve)) = work.step() {
        let says = matches!(record.outcome, Outcome::Settled | Outcome::Unsettled);
        let Some(kind) = watched.step(&record).filter(|_| says) else { continue };
        let time_s = record.command_end as f64 / ticks;
        let stop = Stop { time_s, settling: record.settling, curve, window: settings.window };
        stops.entry(kind).or_default().push(stop);
    }
    let answer = |limit: &Limit| {
        let mut errors = ResidualErrors::new(SLOT);
        let before = stops[&limit.kind].iter().filter(|stop| stop.time_s < limit.at);
        before.for_each(|stop| errors.step(stop, (limit.limit_s * ticks) as u32));
        let mut points = watched.seen[&limit.kind].points(settings.ticks_per_second);
        points.retain(|point| point.time_s + INTERVAL <= limit.at);
        let residual_errors = Some(errors);
        let options =
            TrendOptions { limit_s: Some(limit.limit_s), residual_errors, ..TrendOptions::new(INTERVAL) };
        let found = trend(&points, &options).expect("points");
        assert!(found.by_curves);
        found.time_to_limit.expect("a limit")
    };
    limits.iter().map(answer).collect()
}
