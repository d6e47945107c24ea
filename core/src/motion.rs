//! In: samples. Out: which part of a move each belongs to.
//!
//! A move is one excursion of the command. It begins with the first change after a rest and ends
//! at the last change before the next rest. Only the wait afterwards tells which change was the
//! last, so the end is always reported late and back-dated.

use crate::sample::stretch::Stretch;
use crate::sample::{Reading, Sample};
use crate::settings::Settings;

/// A command that stands for this many samples may be at rest.
const REST_SAMPLES: u32 = 3;

/// How much longer than the last pause a creeping command must stand to be at rest.
///
/// Pulses of a constant deceleration are at most √2 + 1 = 2.4 times further apart than the pair
/// before; at the crest of a quantised sine a count stands up to 4.8 times longer. Eight clears both.
const PAUSES: u64 = 8;

/// A first pulse counts a pause before it up to this many rest times; a longer one was a rest.
const LONGEST_PAUSE: u64 = 8;

/// Stands for the samples before the first pulse, however many.
const FIRST_PULSE: u32 = u32::MAX;

/// The part of a move that a sample belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
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
pub struct Motion {
    state: State,
    course: Course,
    /// When the command changed last. Unit: ticks since the first reading
    changed: u64,
    /// How long it had stood before that, and what it changed by. Unit: ticks, feedback counts
    pause: u64,
    step: i32,
    /// Samples that it has stood, now and before the last change.
    held_samples: u32,
    held_samples_before: u32,
    /// Furthest the command was from where it started. Unit: feedback counts
    excursion: u32,
    /// Command changes that stayed within the window, and so are no moves.
    small: u32,
}

impl Motion {
    /// The move that the last [`Phase::End`] closed.
    pub fn course(&self) -> Course {
        self.course
    }

    /// How many command excursions stayed within the window and were not measured.
    pub fn small(&self) -> u32 {
        self.small
    }

    /// Whether the command has started but not yet come to rest.
    pub fn under_way(&self) -> bool {
        self.state == State::Going
    }

    /// How long after `now` an unchanged command changes no phase. Unit: ticks
    #[inline]
    pub fn left(&self, settings: &Settings, now: u64) -> u32 {
        match self.state {
            State::Going => left(self.needed(settings), now - self.changed),
            State::Idle | State::Resting => u32::MAX,
        }
    }

    /// Adds a whole stretch, none standing longer than [`Motion::left`], or all moving after a sample that moved.
    #[inline]
    pub fn take(&mut self, stretch: &Stretch, moving: bool, now: u64) {
        if !moving {
            if self.state == State::Going {
                self.held_samples += stretch.readings().len() as u32;
            }
            return;
        }
        let origin = stretch.before().command.wrapping_sub(self.course.travel);
        let away = |reading: &Reading| reading.command.wrapping_sub(origin);
        let furthest = stretch.readings().iter().map(|reading| away(reading).unsigned_abs()).max();
        let (last_but_one, last) = stretch.end();
        self.excursion = self.excursion.max(furthest.unwrap_or(0));
        self.course.travel = away(&last);
        self.changed = now;
        self.pause = u64::from(last.tick.wrapping_sub(last_but_one.tick));
        self.step = last.command.wrapping_sub(last_but_one.command);
        self.held_samples_before = 0;
    }

    /// Adds the first sample standing after one that moved: nothing is at rest so soon.
    #[inline]
    pub fn stopped(&mut self, sample: Sample, now: u64) {
        self.changed = now - u64::from(sample.elapsed);
        self.held_samples = 1;
    }

    /// Adds one sample standing no longer than [`Motion::left`].
    #[inline]
    pub fn step_held(&mut self) {
        self.held_samples = self.held_samples.wrapping_add(1);
    }

    /// Adds so many of them.
    #[inline]
    pub fn held_for(&mut self, samples: u32) {
        self.held_samples = self.held_samples.wrapping_add(samples);
    }

    /// Adds one sample moving after another.
    ///
    /// The last of those that move is what counts; when it was, the next sample sorted tells.
    #[inline]
    pub fn step_moving(&mut self, sample: Sample) {
        let travel = self.course.travel.wrapping_add(sample.command_change);
        self.course.travel = travel;
        // Written only where it changes.
        if travel.unsigned_abs() > self.excursion {
            self.excursion = travel.unsigned_abs();
        }
        self.pause = u64::from(sample.elapsed);
        self.step = sample.command_change;
        self.held_samples_before = 0;
    }

    /// Adds one sample moving after one that stood; whether a move starts.
    #[inline]
    pub fn step_away(&mut self, settings: &Settings, sample: Sample, now: u64) -> Phase {
        self.changed(settings, sample, now)
    }

    /// Sorts one sample; `now` counts ticks since the first reading.
    #[inline]
    pub fn step(&mut self, settings: &Settings, sample: Sample, now: u64) -> Phase {
        if self.held_samples == 0 && self.state == State::Going {
            self.changed = now - u64::from(sample.elapsed);
        }
        if sample.command_change != 0 {
            return self.changed(settings, sample, now);
        }
        match self.state {
            State::Resting => Phase::Resting,
            State::Idle => Phase::Idle,
            State::Going => self.holding(settings, now - self.changed),
        }
    }

    #[inline]
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

    #[inline]
    fn start(&mut self, settings: &Settings, travel: i32, elapsed: u32, now: u64) {
        // What it stood before the sample that it last stood at.
        let stood_long = self.pause >= u64::from(settings.rest_time) + u64::from(elapsed);
        self.course.start = now - u64::from(elapsed);
        self.course.travel = travel;
        self.course.joined_late = self.state == State::Idle && !stood_long;
        self.excursion = travel.unsigned_abs();
        self.state = State::Going;
        self.held_samples_before = FIRST_PULSE;
    }

    #[inline]
    fn holding(&mut self, settings: &Settings, held: u64) -> Phase {
        self.held_samples += 1;
        // Most samples are answered by the first two; nothing is at rest sooner than that.
        let early = self.held_samples < REST_SAMPLES || held < u64::from(settings.rest_time);
        if early || held < self.needed(settings) {
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

    #[cold]
    #[inline(never)]
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

/// What is left of a time after `passed` and one tick more. Unit: ticks
#[inline]
pub fn left(time: u64, passed: u64) -> u32 {
    u32::try_from(time.saturating_sub(passed + 1)).unwrap_or(u32::MAX)
}

#[cfg(test)]
#[path = "motion_tests.rs"]
mod tests;
