//! In: stocks of moves, a span, seeds. Out: how the worn axis of each machine is found, and the alarms where nothing
//! wears.

use std::ops::RangeInclusive;

use stillpoint::source::rehearsal::machine::HEALTHY_PART;
use stillpoint_core::drift::Direction;

use super::drifts::{Drifts, follow};
use super::stock::Stock;
use super::year::{AxisAtWork, Fate, RETENSIONED, Span};
use crate::nuisance::axes::{MONTH, by_axis};
use crate::nuisance::calendar::HOUR;
use crate::nuisance::watch::Watched;

/// How the wear of one machine was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Seed of the machine.
    pub seed: u64,
    /// The worn axis.
    pub axis: usize,
    /// Work from the begin of the wear to the first drift to slower that began then, of any kind; `None`: none until the end
    /// or the repair. Unit: h
    pub after: Option<f64>,
    /// Whether a drift to slower stood from before the wear, and then on.
    pub stood: bool,
    /// Work from the repair until no drift of the axis stood; `None` without a repair. Unit: h; infinite: not until the end
    pub ended: Option<f64>,
}

/// The result of some machines.
#[derive(Clone, Debug, Default)]
pub struct Result {
    /// By machine.
    pub found: Vec<Found>,
    /// False alarms of each axis: seed, worn axis, axis, number of alarms.
    pub false_alarms: Vec<(u64, usize, usize, u64)>,
    /// Work without wear. Unit: axis-months
    pub months: f64,
    /// What was said of sound axes.
    pub sound: Watched,
}

impl Result {
    /// All false alarms.
    pub fn false_count(&self) -> u64 {
        self.false_alarms.iter().map(|alarms| alarms.3).sum()
    }
}

/// Instants of a machine's life. Unit: s
struct Life {
    wears: f64,
    repaired: f64,
    ends: f64,
}

impl Life {
    fn new(stock: &Stock, span: Span, fate: Fate) -> Life {
        let ends = span.at(1.0);
        let wears = span.at(HEALTHY_PART + (1.0 - HEALTHY_PART) * stock.wears_from());
        match fate {
            Fate::Sound => Life { wears: ends, repaired: ends, ends },
            Fate::Wears => Life { wears, repaired: ends, ends },
            Fate::IsRetensioned => Life { wears, repaired: span.at(RETENSIONED), ends },
        }
    }
}

/// For every seed a machine of each axis, of which it alone wears.
pub fn run(stocks: &[Stock], span: Span, seeds: RangeInclusive<u64>) -> Result {
    let axes = stocks.len();
    let jobs: Vec<(u64, usize, usize)> = seeds
        .flat_map(|seed| (0..axes).flat_map(move |worn| (0..axes).map(move |axis| (seed, worn, axis))))
        .collect();
    let followed = by_axis(jobs.len() as u32, |job| {
        let (seed, worn, axis) = jobs[job as usize];
        let stock = &stocks[axis];
        let fate = if worn == axis { Fate::worn(stock.known.name) } else { Fate::Sound };
        let work = AxisAtWork::new(stock, span, 3 * seed + worn as u64, fate);
        let drifts = follow(&stock.known.settings, &span.watch(stock), work);
        (drifts, Life::new(stock, span, fate))
    });
    let mut result = Result::default();
    for ((seed, worn, axis), (drifts, life)) in jobs.into_iter().zip(followed) {
        result.add(span, (seed, worn, axis), &drifts, &life);
    }
    result
}

impl Result {
    fn add(&mut self, span: Span, (seed, worn, axis): (u64, usize, usize), drifts: &Drifts, life: &Life) {
        let alarms =
            drifts.between(0.0, life.wears).count() + drifts.between(life.repaired, life.ends).count();
        self.false_alarms.push((seed, worn, axis, alarms as u64));
        let sound = span.worked(life.wears) + span.worked(life.ends) - span.worked(life.repaired);
        self.months += sound / HOUR / MONTH;
        if worn != axis {
            return self.sound.add(drifts.watched.clone());
        }
        let is_slow = |direction| direction == Direction::Up;
        let first = drifts.between(life.wears, life.repaired).find(|stood| is_slow(stood.direction));
        let hours = |from, until| (span.worked(until) - span.worked(from)) / HOUR;
        let stands_at = |at: f64| {
            drifts
                .all
                .iter()
                .filter(move |stood| stood.from < at && stood.until.is_none_or(|until| until > at))
        };
        let ends = stands_at(life.repaired).map(|stood| stood.until.unwrap_or(f64::INFINITY));
        let is_repaired = life.repaired < life.ends;
        self.found.push(Found {
            seed,
            axis,
            after: first.map(|stood| hours(life.wears, stood.from)),
            stood: stands_at(life.wears).any(|stood| is_slow(stood.direction)),
            ended: is_repaired.then(|| {
                let end = ends.fold(life.repaired, f64::max);
                if end.is_finite() { hours(life.repaired, end) } else { end }
            }),
        });
    }
}
