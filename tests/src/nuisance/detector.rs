//! In: a move. Out: what a detector says then: whether there is a drift, and what it promises.

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

/// The detector of the core, with the hysteresis by which the monitor announces its findings.
#[derive(Clone)]
pub struct Shipped {
    settings: DriftSettings,
    drift: Drift,
    stands: Option<Direction>,
}

impl Shipped {
    /// Without a baseline yet.
    pub fn new(settings: DriftSettings) -> Shipped {
        Shipped { settings, drift: Drift::default(), stands: None }
    }
}

impl Detector for Shipped {
    fn step(&mut self, next: &Move) -> Verdict {
        if let Some(finding) = self.drift.step(&self.settings, next.evidence) {
            let stands = finding.is_drift_after(self.stands.is_some());
            self.stands = stands.then_some(finding.direction);
        }
        Verdict { drift: self.stands, promise: self.drift.promise() }
    }
}
