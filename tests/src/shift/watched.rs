//! In: the records of one axis. Out: its kinds, what the watch reports of each, and the points that trends are made of.
//!
//! What the monitor and the store do with records, and nothing else: core kinds, causes and drift, sketches of five minutes.

use std::collections::BTreeMap;

use stillpoint::analysis::interval_stats::IntervalStats;
use stillpoint::store::sketch::{Bins, Sketch, rank};
use stillpoint_core::baseline::Evidence;
use stillpoint_core::causes::Causes;
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::drift::{Direction, Drift, Finding, Promise};
use stillpoint_core::kind::{Arrival, KINDS, Kinds};
use stillpoint_core::{Outcome, Record, Settings};

/// Length of an interval. Unit: s
pub const INTERVAL: f64 = 300.0;

/// A reportable change: a drift that begins or ends, another promise.
#[derive(Clone, Copy, Debug)]
pub struct ReportedFinding {
    /// Command end of the move that decided it. Unit: s
    pub at: f64,
    /// Number of that move.
    pub number: u32,
    /// Moves of the kind that were judged so far.
    pub moves: u32,
    /// What was found.
    pub finding: Finding,
    /// Whether a drift stands since then.
    pub stands: bool,
}

/// Observations of one kind.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// How it stood whenever that changed.
    pub findings: Vec<ReportedFinding>,
    /// Settling times by interval, and how many moves did not settle. Unit: ticks
    intervals: BTreeMap<u32, (Vec<u32>, u64)>,
}

/// The watch over one axis.
pub struct Watched {
    settings: Settings,
    watch: DriftSettings,
    kinds: Kinds,
    causes: Causes,
    drifts: [Drift; KINDS],
    /// By number of the kind.
    pub seen: BTreeMap<u32, Seen>,
}

impl Watched {
    /// Nothing seen yet.
    pub fn new(settings: Settings, watch: DriftSettings) -> Watched {
        let drifts = [Drift::default(); KINDS];
        Watched {
            settings,
            watch,
            kinds: Kinds::default(),
            causes: Causes::new(),
            drifts,
            seen: BTreeMap::new(),
        }
    }

    /// All records of a shift.
    pub fn whole(
        settings: Settings,
        watch: DriftSettings,
        records: impl IntoIterator<Item = Record>,
    ) -> Watched {
        let mut watched = Watched::new(settings, watch);
        records.into_iter().for_each(|record| _ = watched.step(&record));
        watched
    }

    /// Adds a record and gives the number of its kind.
    pub fn step(&mut self, record: &Record) -> Option<u32> {
        let place = self.kinds.step(&self.settings, record)?;
        if place.arrival != Arrival::Known {
            self.drifts[place.row] = Drift::default();
        }
        let second = f64::from(self.settings.ticks_per_second);
        let at = record.command_end as f64 / second;
        let seen = self.seen.entry(place.number).or_default();
        let (times, unsettled) = seen.intervals.entry((at / INTERVAL) as u32).or_default();
        times.extend(record.settling);
        *unsettled += u64::from(record.outcome == Outcome::Unsettled);
        let Some(evidence) = Evidence::of(record) else { return Some(place.number) };
        // The monitor judges a move when it is published.
        let published = (record.command_end + record.held) as f64 / second;
        let circumstances = self.causes.step(&self.watch, published as u32, 0);
        if circumstances.warm_now {
            self.drifts = [Drift::default(); KINDS];
        }
        let drift = &mut self.drifts[place.row];
        if let Some(finding) = self.causes.judge(&circumstances, drift, &self.watch, evidence) {
            seen.found(at, record.number, drift.moves(), finding);
        }
        Some(place.number)
    }
}

impl Seen {
    fn found(&mut self, at: f64, number: u32, moves: u32, finding: Finding) {
        let last = self.findings.last();
        let (stood, promise) =
            last.map_or((false, Promise::Learning), |last| (last.stands, last.finding.promise));
        let stands = finding.is_drift();
        if (stood, promise) != (stands, finding.promise) {
            self.findings.push(ReportedFinding { at, number, moves, finding, stands });
        }
    }

    /// Drifts that began to stand.
    pub fn drifts(&self) -> impl Iterator<Item = &ReportedFinding> {
        let before = std::iter::once(false).chain(self.findings.iter().map(|reported| reported.stands));
        self.findings
            .iter()
            .zip(before)
            .filter(|(finding, stood)| finding.stands && !stood)
            .map(|(finding, _)| finding)
    }

    /// What is known about the promise at the end.
    pub fn promise(&self) -> Promise {
        self.findings.last().map_or(Promise::Learning, |last| last.finding.promise)
    }

    /// First drift towards larger values. Unit: s
    pub fn slowed(&self) -> Option<f64> {
        self.drifts().find(|reported| reported.finding.direction == Direction::Up).map(|reported| reported.at)
    }

    /// The points of all intervals, as the store gives them.
    pub fn points(&self, ticks_per_second: u32) -> Vec<IntervalStats> {
        let bins = Bins::default();
        let second = 1.0 / f64::from(ticks_per_second);
        let point = |(interval, (times, unsettled)): (&u32, &(Vec<u32>, u64))| {
            let mut sketch = Sketch::default();
            let nanoseconds = |ticks: &u32| (f64::from(*ticks) * second * 1e9) as i64;
            times.iter().for_each(|ticks| sketch.add(bins.bin(nanoseconds(ticks)), 1));
            // A move that did not settle stands behind all that did.
            let quantile = |share| {
                let rank = rank(share, sketch.count() + unsettled)?;
                Some(sketch.ranked(&bins, rank).map_or(f64::INFINITY, |settling| settling as f64 * 1e-9))
            };
            let sum: f64 = times.iter().map(|ticks| f64::from(*ticks) * second).sum();
            Some(IntervalStats {
                time_s: f64::from(*interval) * INTERVAL,
                moves: sketch.count(),
                unsettled: *unsettled,
                median_s: quantile(0.5)?,
                p95_s: quantile(0.95)?,
                mean_s: (!times.is_empty()).then(|| sum / times.len() as f64),
                ..IntervalStats::default()
            })
        };
        self.intervals.iter().filter_map(point).collect()
    }
}
