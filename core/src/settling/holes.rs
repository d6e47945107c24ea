//! In: faults of samples, and where in the move each lies. Out: the faults that make a move untrusted, and its gaps.
//!
//! A fault counts at once until the target is reached; later, only if the window is left again. A short gap counts
//! only where something may have happened unseen: in a dwell shorter than the window time, at a window transition, at
//! the command end.

use crate::sample::{Faults, Sample};
use crate::settings::Settings;
use crate::settling::window::{Position, Transition};

/// Faults and gaps of a move.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Holes {
    faults: Faults,
    /// Faults since the target was reached; they count only if the window is left again.
    later: Faults,
    /// A gap lies just before the last change of the command.
    before_change: bool,
    gaps: u32,
    /// Longest sample period with a gap in it. Unit: ticks
    longest_gap: u32,
}

impl Holes {
    /// Faults that make the move untrusted.
    pub(crate) fn faults(&self) -> Faults {
        self.faults
    }

    /// Number of gaps.
    pub(crate) fn gaps(&self) -> u32 {
        self.gaps
    }

    /// Longest sample period with a gap in it. Unit: ticks
    pub(crate) fn longest_gap(&self) -> u32 {
        self.longest_gap
    }

    /// Whether the clock had no fault; with a fault the curve's time stamps are wrong.
    pub(crate) fn clock_is_sound(&self) -> bool {
        !self.faults.with(self.later).has(Faults::CLOCK)
    }

    /// Adds a sample that changes the command.
    pub(crate) fn moving(&mut self, settings: &Settings, sample: Sample) {
        self.before_change = sample.faults.has(Faults::GAP);
        if sample.faults != Faults::NONE {
            self.faults = self.faults.with(self.counted(sample, sample.elapsed > settings.rest_time));
        }
    }

    /// Adds samples without a fault that change the command.
    pub(crate) fn move_on(&mut self) {
        self.before_change = false;
    }

    /// Adds a sample at an unchanged command; `before` is the position before it.
    pub(crate) fn standing(
        &mut self,
        settings: &Settings,
        sample: Sample,
        before: Position,
        transition: Transition,
    ) {
        if sample.faults != Faults::NONE {
            let stays = matches!(transition, Transition::Inside | Transition::Outside);
            let short = sample.elapsed <= settings.window_time;
            let faults = self.counted(sample, before == Position::Inside || !stays || !short);
            let place = if before == Position::TargetReached { &mut self.later } else { &mut self.faults };
            *place = place.with(faults);
        }
    }

    /// Counts a gap; returns the faults that count, a gap only if it `matters`.
    fn counted(&mut self, sample: Sample, matters: bool) -> Faults {
        if sample.faults.has(Faults::GAP) {
            self.gaps = self.gaps.saturating_add(1);
            self.longest_gap = self.longest_gap.max(sample.elapsed);
        }
        if matters { sample.faults } else { sample.faults.without(Faults::GAP) }
    }

    /// The axis had not settled yet: all faults up to here count.
    pub(crate) fn confirm(&mut self) {
        self.faults = self.faults.with(core::mem::take(&mut self.later));
    }

    /// Joins what came before these in the same move.
    pub(crate) fn join(&mut self, mut earlier: Holes) {
        earlier.confirm();
        self.faults = self.faults.with(earlier.faults);
        self.gaps = self.gaps.saturating_add(earlier.gaps);
        self.longest_gap = self.longest_gap.max(earlier.longest_gap);
    }

    /// The last change of the command was its end: a gap before it leaves the end unknown.
    pub(crate) fn command_at_rest(&mut self) {
        if self.before_change {
            self.faults = self.faults.with(Faults::GAP);
        }
    }
}
