//! In: the moves of one axis with their jobs. Out: the drifts that a detector finds, by kind.

use stillpoint_core::Settings;
use stillpoint_core::baseline::Evidence;
use stillpoint_core::drift::{Direction, Promise};
use stillpoint_core::kind::{Arrival, KINDS, Kinds};

use super::year::Worked;
use crate::nuisance::detector::{Detector, Verdict};
use crate::nuisance::moves::Move;
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

/// What a detector makes of one axis.
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
struct Followed<D> {
    number: u32,
    detector: D,
    watching: Watching,
    open: Option<usize>,
}

/// Follows the moves of one axis, a fresh detector for each kind.
pub fn follow<D: Detector>(
    settings: &Settings,
    fresh: impl Fn() -> D,
    moves: impl Iterator<Item = Worked>,
) -> Drifts {
    let mut kinds: Kinds = Kinds::default();
    let mut followed: [Option<Followed<D>>; KINDS] = std::array::from_fn(|_| None);
    let mut drifts = Drifts::default();
    for Worked { job, record } in moves {
        let (Some(place), Some(evidence)) = (kinds.step(settings, &record), Evidence::of(&record)) else {
            continue;
        };
        let row = &mut followed[place.row];
        if place.arrival != Arrival::Known || row.is_none() {
            drifts.close(row.take());
            let (detector, watching) = (fresh(), Watching::default());
            *row = Some(Followed { number: place.number, detector, watching, open: None });
        }
        if let Some(kind) = row {
            let at = record.command_end as f64 / f64::from(settings.ticks_per_second);
            let verdict = kind.detector.step(&Move { at, evidence, job });
            kind.watching.step(at, verdict);
            drifts.step(kind, at, verdict);
        }
    }
    followed.into_iter().for_each(|row| drifts.close(row));
    drifts
}

impl Drifts {
    fn step<D>(&mut self, kind: &mut Followed<D>, at: f64, verdict: Verdict) {
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

    fn close<D>(&mut self, kind: Option<Followed<D>>) {
        if let Some(kind) = kind {
            self.watched.add(kind.watching.finish(0.0));
            self.kinds += 1;
        }
    }

    /// Drifts that began to stand from one instant to before another. Unit: s
    pub fn between(&self, from: f64, until: f64) -> impl Iterator<Item = &Stood> {
        self.all.iter().filter(move |stood| (from..until).contains(&stood.from))
    }
}
