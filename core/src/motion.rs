//! In: samples. Out: which part of a move each belongs to.
//!
//! A move is one excursion of the command. It begins with the first change after a rest and ends
//! at the last change before the next rest. Only the wait afterwards tells which change was the
//! last, so the end is always reported late and back-dated.

use crate::sample::Sample;
use crate::settings::Settings;

/// A command that stands for this many samples may be at rest.
const REST_SAMPLES: u32 = 3;

/// A command that creeps in small pulses is at rest once it has stood this many times the pause before its last pulse.
///
/// Under constant deceleration the time between two pulses is at most √2 + 1 = 2.4 times the one before; at the crest
/// of a quantised sine a count stands up to 4.8 times longer. Eight is more than both.
const PAUSES: u64 = 8;

/// The pause before a first pulse counts up to this many rest times: a longer one was a rest.
const LONGEST_PAUSE: u64 = 8;

/// Marks the first pulse in `held_samples_before`, however many samples the command had stood.
const FIRST_PULSE: u32 = u32::MAX;

/// The part of a move that a sample belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Phase {
    /// No move has ended yet, or the last one was too small to measure.
    Idle,
    /// The command changed after a rest.
    Start,
    /// The command changed again.
    Moving,
    /// The command stands, but not yet for long enough.
    Holding,
    /// The command has now stood long enough: the last change was the command end.
    End,
    /// The rest that belongs to the last move.
    Resting,
}

/// What the command did between its two rests.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Course {
    /// Last instant at the old command. Unit: ticks since the first reading
    pub start: u64,
    /// First instant at the final command. Unit: ticks since the first reading
    pub command_end: u64,
    /// Command at the end minus command at the start. Unit: feedback counts, wrapping
    pub travel: i32,
    /// Mean time between samples while the command stood. Unit: ticks
    pub period: u32,
    /// The command was already changing when the readings began, so `start` and `travel` are not whole.
    pub joined_late: bool,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum State {
    #[default]
    Idle,
    Going,
    Resting,
}

/// The stage.
#[derive(Clone, Debug, Default)]
pub(crate) struct Motion {
    state: State,
    course: Course,
    /// When the command changed last. Unit: ticks since the first reading
    changed: u64,
    /// How long it had stood before that change. Unit: ticks
    pause: u64,
    /// What it changed by. Unit: feedback counts
    step: i32,
    /// Samples at which it has stood since the last change, and before it.
    held_samples: u32,
    held_samples_before: u32,
    /// Furthest the command was from where it started. Unit: feedback counts
    excursion: u32,
    /// Command changes that stayed within the window, and so are no moves.
    small: u32,
}

impl Motion {
    /// The move that the last [`Phase::End`] closed.
    pub(crate) fn course(&self) -> Course {
        self.course
    }

    /// How many command excursions stayed within the window and were not measured.
    pub(crate) fn small(&self) -> u32 {
        self.small
    }

    /// Whether the command has started but not yet come to rest.
    pub(crate) fn under_way(&self) -> bool {
        self.state == State::Going
    }

    /// Sorts one sample; `now` counts ticks since the first reading.
    pub(crate) fn step(&mut self, settings: &Settings, sample: Sample, now: u64) -> Phase {
        if sample.command_change != 0 {
            return self.changed(settings, sample, now);
        }
        match self.state {
            State::Resting => Phase::Resting,
            State::Idle => Phase::Idle,
            State::Going => self.holding(settings, now - self.changed),
        }
    }

    fn changed(&mut self, settings: &Settings, sample: Sample, now: u64) -> Phase {
        self.pause = now - self.changed;
        self.changed = now;
        self.step = sample.command_change;
        let held_samples = core::mem::take(&mut self.held_samples);
        if self.state != State::Going {
            self.start(settings, sample.command_change, sample.elapsed, now);
            return Phase::Start;
        }
        self.held_samples_before = held_samples;
        self.course.travel = self.course.travel.wrapping_add(sample.command_change);
        self.excursion = self.excursion.max(self.course.travel.unsigned_abs());
        Phase::Moving
    }

    fn start(&mut self, settings: &Settings, travel: i32, elapsed: u32, now: u64) {
        // The change may have come at any time since the last sample, so the time since then does not count.
        let stood_long = self.pause >= u64::from(settings.rest_time) + u64::from(elapsed);
        self.course.start = now - u64::from(elapsed);
        self.course.travel = travel;
        self.course.joined_late = self.state == State::Idle && !stood_long;
        self.excursion = travel.unsigned_abs();
        self.state = State::Going;
        self.held_samples_before = FIRST_PULSE;
    }

    fn holding(&mut self, settings: &Settings, held: u64) -> Phase {
        self.held_samples = self.held_samples.saturating_add(1);
        if self.held_samples < REST_SAMPLES || held < self.needed(settings) {
            return Phase::Holding;
        }
        self.rested(settings, held)
    }

    /// How long the command must stand to be at rest. Unit: ticks
    fn needed(&self, settings: &Settings) -> u64 {
        // A step within the window after a pause is a creeping pulse: wait for the next one.
        let creeping = self.step.unsigned_abs() <= settings.window.max(1) && self.held_samples_before > 0;
        let rest_time = u64::from(settings.rest_time);
        let first = self.held_samples_before == FIRST_PULSE;
        let pause = if first { self.pause.min(rest_time * LONGEST_PAUSE) } else { self.pause };
        let waited = if creeping { pause.saturating_mul(PAUSES) } else { 0 };
        waited.max(rest_time)
    }

    fn rested(&mut self, settings: &Settings, held: u64) -> Phase {
        if self.excursion <= settings.window {
            self.small = self.small.saturating_add(1);
            self.state = State::Idle;
            return Phase::Idle;
        }
        self.course.command_end = self.changed;
        self.course.period = (held / u64::from(self.held_samples.max(1))) as u32;
        self.state = State::Resting;
        Phase::End
    }
}

#[cfg(test)]
#[path = "motion_tests.rs"]
mod tests;
