//! In: a move. Out: what a detector says then: whether there is a drift, and what it promises.

use stillpoint_core::causes::Causes;
use stillpoint_core::drift::{Direction, Drift, DriftSettings, Promise};

use super::moves::Move;

/// What a detector says after a move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// The drift that stands, as a person is shown it.
    pub drift: Option<Direction>,
    /// The state of its guarantee.
    pub promise: Promise,
}

/// A detector of drift for one kind of moves. A closure is one, too.
pub trait Detector: Clone {
    /// Adds a move.
    fn step(&mut self, next: &Move) -> Verdict;
}

impl<F: FnMut(&Move) -> Verdict + Clone> Detector for F {
    fn step(&mut self, next: &Move) -> Verdict {
        self(next)
    }
}

/// The detector of the core, as the monitor composes it.
#[derive(Clone)]
pub struct Shipped {
    settings: DriftSettings,
    causes: Causes,
    drift: Drift,
}

impl Shipped {
    /// Without a baseline yet.
    pub fn new(settings: DriftSettings) -> Shipped {
        Shipped { settings, causes: Causes::new(), drift: Drift::default() }
    }
}

impl Detector for Shipped {
    fn step(&mut self, next: &Move) -> Verdict {
        let circumstances = self.causes.step(&self.settings, next.at as u32, next.job);
        if circumstances.warm_now {
            self.drift = Drift::default();
        }
        self.causes.judge(&circumstances, &mut self.drift, &self.settings, next.evidence);
        Verdict { drift: self.drift.stands(), promise: self.drift.promise() }
    }
}
