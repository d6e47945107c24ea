//! In: samples, and the part of a move each belongs to. Out: the status now; after the rest, the stop.
//!
//! The work is split by what has to be remembered: [`window`] tracks the one window that was asked
//! for, [`curve`] all others, [`crossing`] the last entry, [`approach`] what came before the command
//! end, [`peaks`] the extremes, [`rest`] the stretch afterwards and [`following`] the error's time-out.

use crate::motion::Phase;
use crate::sample::{Faults, Sample};
use crate::settings::Settings;

pub mod crossing;
pub mod window;
pub mod curve;
pub mod rest;
pub mod peaks;
pub mod approach;
pub mod following;
pub mod stop;
mod due;
mod expected;
pub mod together;

use approach::{Approach, First, Place};
use crossing::{Crossing, Entry};
use curve::{Curve, Point, Readout};
use due::Due;
use following::Following;
use peaks::Peaks;
use rest::Rest;
use window::{Passage, Position, Window};

/// What can be said at every sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Status {
    /// The command has changed at this sample.
    pub moving: bool,
    /// At this sample something has happened: take the events.
    pub event: bool,
    /// Where feedback stands in the position window.
    pub position: Position,
    /// Following error beyond its window for longer than its time-out (statusword bit 13).
    pub following_error: bool,
}

/// The stage.
///
/// What every sample needs comes first: a Cortex-M loads in pairs only what lies within the first kibibyte.
#[derive(Clone, Debug, Default)]
#[repr(C)]
pub struct Settling {
    rest: Rest,
    peaks: Peaks,
    window: Window,
    following: Following,
    /// While outside: when the error changed last, and by how much in the last sample. Unit: ticks, counts
    changed: u32,
    change: i32,
    command_end: Place,
    error_at_command_end: i32,
    first_crossing: First,
    /// Faults that count, and those that will if the window is left again.
    faults: Faults,
    later: Faults,
    /// The last sample changed the command.
    moving: bool,
    curve_due: Due,
    approach: Approach,
    curve: Curve,
}

impl Settling {
    /// Adds one sample.
    #[inline]
    pub fn step(&mut self, settings: &Settings, sample: Sample, phase: Phase, now: u64) -> Status {
        match phase {
            Phase::Start => self.start(settings, sample),
            Phase::Moving => self.moving(settings, sample),
            Phase::Idle | Phase::Holding | Phase::End | Phase::Resting => self.held(settings, sample, now),
        }
        let following_error = self.following.step(settings, sample.error, sample.elapsed);
        Status { moving: self.moving, event: false, position: self.window.position(), following_error }
    }

    /// Whether the clock has gone on since the move began; if not, the curve's time stamps tell nothing.
    pub fn clock_is_sound(&self) -> bool {
        !self.faults.with(self.later).has(Faults::CLOCK)
    }

    /// Where feedback stands.
    #[inline]
    pub fn position(&self) -> Position {
        self.window.position()
    }

    #[inline]
    fn outside(&mut self, sample: Sample) -> bool {
        let block_ends = self.peaks.block(sample);
        self.change = sample.feedback_change;
        if self.change != 0 {
            self.changed = sample.tick;
        }
        block_ends
    }

    /// Adds one sound sample, the command moving after it has stood.
    #[inline]
    pub fn step_away(&mut self, settings: &Settings, sample: Sample, phase: Phase) -> Position {
        match phase {
            Phase::Start => self.start(settings, sample),
            _ => self.moving(settings, sample),
        }
        self.window.position()
    }

    #[inline]
    fn start(&mut self, settings: &Settings, sample: Sample) {
        self.faults = Faults::NONE;
        self.later = Faults::NONE;
        self.curve_due = Due::All;
        self.peaks.restart(sample);
        let feedback = sample.feedback.wrapping_sub(sample.feedback_change);
        self.approach.restart(feedback, sample.tick.wrapping_sub(sample.elapsed));
        self.go_on(settings, sample);
    }

    /// What only the last sample of the motion decides waits for [`Settling::command_ended`].
    #[inline]
    fn moving(&mut self, settings: &Settings, sample: Sample) {
        if !self.moving {
            self.peaks.went_on(self.target());
        }
        self.peaks.moving(sample);
        self.go_on(settings, sample);
    }

    #[inline]
    fn go_on(&mut self, settings: &Settings, sample: Sample) {
        self.approach.step(sample.feedback, sample.tick, settings.window);
        self.window.moving(settings, sample.error);
        self.moving = true;
        if sample.faults != Faults::NONE {
            self.faults = self.faults.with(sample.faults);
        }
    }

    /// The sample before this one may have been the command end.
    #[inline(always)]
    fn command_ended(&mut self, settings: &Settings, sample: Sample, now: u64) {
        let tick = sample.tick.wrapping_sub(sample.elapsed);
        let feedback = sample.feedback.wrapping_sub(sample.feedback_change);
        let error = sample.error_before();
        self.moving = false;
        self.command_end = Place { tick, feedback };
        self.error_at_command_end = error;
        self.peaks.command_ended(error);
        self.window.restart(settings, error, now - u64::from(sample.elapsed));
        if self.window.began_inside {
            self.rest.restart(error);
        } else {
            self.rest.forget();
        }
        self.changed = tick;
        self.change = 0;
        self.faults = self.faults.with(self.later);
        self.later = Faults::NONE;
        if self.curve_due == Due::Nothing {
            self.curve_due = Due::Stamp;
        }
    }

    #[inline]
    fn held(&mut self, settings: &Settings, sample: Sample, now: u64) {
        if self.moving {
            self.command_ended(settings, sample, now);
        } else {
            self.stamp(sample);
        }
        if sample.faults != Faults::NONE {
            self.later = self.later.with(sample.faults);
        }
        self.stand(settings, sample, || now);
    }

    /// Adds the first sound sample standing after one that moved, at `now`.
    #[inline]
    pub fn stopped(&mut self, settings: &Settings, sample: Sample, now: u64) -> Position {
        self.command_ended(settings, sample, now);
        self.stand(settings, sample, || now);
        self.window.position()
    }

    /// Takes the first error, before which there was nothing; whether it counts as a following error at once.
    pub fn begin(&mut self, settings: &Settings, error: i32) -> bool {
        self.window.moving(settings, error);
        self.following.step(settings, error, 0)
    }

    /// Adds one sound sample, the command and the following error's time-out standing as before; whether nothing
    /// happened at it that took time.
    #[inline(always)]
    pub fn step_calm(&mut self, settings: &Settings, sample: Sample, now: impl Fn() -> u64) -> bool {
        let in_time = self.stamp(sample);
        self.stand(settings, sample, now) && in_time
    }

    #[inline(always)]
    fn stand(&mut self, settings: &Settings, sample: Sample, now: impl Fn() -> u64) -> bool {
        self.peaks.held(sample.error);
        match self.window.step(settings, sample) {
            Passage::Inside => self.rest.step(settings, sample.error, sample.feedback_change),
            Passage::Outside => return !self.outside(sample),
            Passage::Reached => {
                self.window.reach(now());
                self.rest.step(settings, sample.error, sample.feedback_change);
                return false;
            }
            passage => {
                self.passed(settings, sample, passage, now());
                return false;
            }
        }
        true
    }

    /// Whether the last following error was within its window.
    #[inline]
    pub fn is_following(&self) -> bool {
        self.following.is_inside()
    }

    #[inline(always)]
    fn passed(&mut self, settings: &Settings, sample: Sample, passage: Passage, now: u64) {
        // Whatever was wrong before this passage was wrong before the axis had settled.
        self.faults = self.faults.with(self.later);
        self.later = Faults::NONE;
        if passage == Passage::Entered {
            self.rest.restart(sample.error);
            let (earlier, earlier_time) = self.peaks.earlier(sample);
            let crossing = Crossing {
                entry: Entry {
                    instant: now,
                    elapsed: sample.elapsed,
                    before: sample.error_before(),
                    after: sample.error,
                },
                flat: sample.tick.wrapping_sub(self.changed),
                earlier,
                earlier_time,
                // The window knows what came before.
                farthest: 0,
                cluster: now,
                entry_before: now,
                bend: sample.feedback_change.wrapping_sub(self.change).unsigned_abs(),
            };
            self.window.enter(settings, crossing);
        } else {
            self.rest.forget();
            self.peaks.left(sample);
        }
        self.changed = sample.tick;
        self.change = sample.feedback_change;
    }

    /// The curve that `readout` was taken for, until the next sample at rest.
    pub fn curve(&self, readout: Readout) -> impl Iterator<Item = Point> + '_ {
        self.curve.points(readout)
    }
}
