//! In: window transitions. Out: whether up to three samples of feedback, further away than the axis can
//! move, decide about them.

use crate::sample::Sample;
use crate::settings::Settings;
use crate::settling::peaks::Speed;
use crate::settling::window::Transition;

/// How much faster than the fastest speed block before it both changes of a spike are.
const FASTER: u64 = 2;

/// Longest spike. Unit: samples
const LONGEST: u32 = 3;

/// One change of feedback across the edge of the window.
#[derive(Clone, Copy, Debug, Default)]
struct Step {
    /// Unit: ticks, wrapping
    tick: u32,
    elapsed: u32,
    change: i32,
}

impl Step {
    /// Whether this is faster than the axis moves, and more than the encoder's steps can make.
    fn is_fast(&self, settings: &Settings, fastest: Speed) -> bool {
        let size = u64::from(self.change.unsigned_abs());
        let (time, distance) = (u64::from(fastest.time), u64::from(fastest.distance));
        time > 0
            && size > FASTER * u64::from(settings.encoder_step)
            && size * time > FASTER * distance * u64::from(self.elapsed)
    }
}

/// Excursions of up to three samples, since the command end.
#[derive(Clone, Debug, Default)]
pub(crate) struct Spike {
    /// The last transition, and the fastest speed block before it; no speed before the first.
    last: (Step, Speed),
    /// One of them ended with the last entry.
    before_entry: bool,
    /// One of them was the first stay inside.
    first_stay: bool,
}

impl Spike {
    /// Whether the last entry or the first one is made by a spike.
    pub(crate) fn decides(&self) -> bool {
        self.before_entry || self.first_stay
    }

    /// Adds a transition; `entries` counts those before it, `fastest` is the fastest speed block.
    pub(crate) fn add(
        &mut self,
        settings: &Settings,
        sample: Sample,
        fastest: Speed,
        (transition, entries): (Transition, u32),
    ) {
        let step = Step { tick: sample.tick, elapsed: sample.elapsed, change: sample.feedback_change };
        // A speed block may be shorter than the spike, so what came before the spike counts.
        let (last, before) = self.last;
        let spike = sample.tick.wrapping_sub(last.tick) <= LONGEST.saturating_mul(sample.elapsed)
            && (last.change < 0) != (step.change < 0)
            && last.is_fast(settings, before)
            && step.is_fast(settings, before);
        match transition {
            Transition::Entered => self.before_entry = spike,
            Transition::Exited if entries == 1 => self.first_stay = spike,
            _ => (),
        }
        self.last = (step, fastest);
    }
}
