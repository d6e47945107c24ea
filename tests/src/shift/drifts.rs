//! In: the moves of one axis with their jobs. Out: the drifts that the monitor finds, by kind.

use stillpoint_core::Settings;
use stillpoint_core::baseline::Evidence;
use stillpoint_core::causes::Causes;
use stillpoint_core::drift::{Direction, Drift, DriftSettings, Promise};
use stillpoint_core::kind::{Arrival, KINDS, Kinds};

use super::year::Worked;
use crate::nuisance::detector::Verdict;
use crate::nuisance::watch::{Watched, Watching};

/// A drift that began to stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stood {
    /// Number of the kind.
    pub kind: u32,
    /// Slower or faster.
    pub direction: Direction,
    /// When it began to stand. Unit: s
    pub from: f64,
    /// When it ended; `None`: it stood to the end. Unit: s
    pub until: Option<f64>,
    /// The word of the promise when it began.
    pub promise: Promise,
}

/// What the monitor makes of one axis.
#[derive(Clone, Debug, Default)]
pub struct Drifts {
    /// In the order in which they began.
    pub all: Vec<Stood>,
    /// Words of the promise, of all kinds.
    pub watched: Watched,
    /// Number of kinds.
    pub kinds: usize,
}

/// One kind as it is followed.
#[derive(Default)]
struct Followed {
    number: u32,
    drift: Drift,
    watching: Watching,
    open: Option<usize>,
}

/// Follows the moves of one axis as the monitor does: its kinds share what explains their settling times.
pub fn follow(settings: &Settings, watch: &DriftSettings, moves: impl Iterator<Item = Worked>) -> Drifts {
    let (mut kinds, mut causes): (Kinds, _) = (Kinds::default(), Causes::new());
    let mut followed: [Followed; KINDS] = std::array::from_fn(|_| Followed::default());
    let mut drifts = Drifts::default();
    for Worked { job, record } in moves {
        let (Some(place), Some(evidence)) = (kinds.step(settings, &record), Evidence::of(&record)) else {
            continue;
        };
        let at = (record.command_end + record.held) as f64 / f64::from(settings.ticks_per_second);
        let circumstances = causes.step(watch, at as u32, job);
        if circumstances.warm_now {
            followed.iter_mut().for_each(|kind| drifts.restart(kind, at));
        }
        let kind = &mut followed[place.row];
        if place.arrival != Arrival::Known {
            drifts.restart(kind, at);
            kind.number = place.number;
            drifts.kinds += 1;
        }
        causes.judge(&circumstances, &mut kind.drift, watch, evidence);
        let verdict = Verdict { drift: kind.drift.stands(), promise: kind.drift.promise() };
        kind.watching.step(at, verdict);
        drifts.step(kind, at, verdict);
    }
    followed.into_iter().for_each(|kind| drifts.watched.add(kind.watching.finish(0.0)));
    drifts
}

impl Drifts {
    fn step(&mut self, kind: &mut Followed, at: f64, verdict: Verdict) {
        match (verdict.drift, kind.open) {
            (Some(direction), None) => {
                kind.open = Some(self.all.len());
                let (kind, promise) = (kind.number, verdict.promise);
                self.all.push(Stood { kind, direction, from: at, until: None, promise });
            }
            (None, Some(open)) => {
                self.all[open].until = Some(at);
                kind.open = None;
            }
            _ => (),
        }
    }

    /// A kind begins anew, and a drift of it ends.
    fn restart(&mut self, kind: &mut Followed, at: f64) {
        if let Some(open) = kind.open.take() {
            self.all[open].until = Some(at);
        }
        kind.drift = Drift::default();
    }

    /// Drifts that began to stand from one instant to before another. Unit: s
    pub fn between(&self, from: f64, until: f64) -> impl Iterator<Item = &Stood> {
        self.all.iter().filter(move |stood| (from..until).contains(&stood.from))
    }
}
